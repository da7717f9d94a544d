"""What a titration gave, and what speaks against it: bias, slips of the pen, flasks that differ, a bottle gone off."""

from __future__ import annotations

__all__ = ["MOST_SO2_MG_L", "Outcome", "allowed_spread_mg_l", "below_mg_l", "titrated"]

from dataclasses import dataclass
from typing import Final

from ingest.journal.result_warnings import ResultWarning, ResultWarningKind
from ingest.journal.titrant import bottle_warnings
from ingest.journal.titration import (
    LOW_TOTAL_MG_L,
    LOW_TOTAL_SAMPLE_ML,
    Method,
    Parts,
    So2Quantity,
    Style,
    Titration,
    uncertainty_of,
)

# More than any wine should hold [mg/L]; a choice of this project, well above legal limits for most wine.
MOST_SO2_MG_L: Final[dict[So2Quantity, float]] = {So2Quantity.FREE: 200.0, So2Quantity.TOTAL: 500.0}
# Wine in a flask [mL]: the methods take 10 to 50 (OIV, from memory; common practice).
_SAMPLE_LOW_ML: Final = 10.0
_SAMPLE_HIGH_ML: Final = 50.0

# A blank with aldehyde is 6 to 10 mg/L; much more is ascorbic acid (OIV-MA-AS323-04B, from memory).
_LARGE_BLANK_MG_L: Final = 10.0
# M(ascorbic acid) / M(SO2): both give two electrons to iodine [g/g].
_ASCORBIC_PER_SO2: Final = 176.12 / 64.06

# How long the blue stays at the end point [s] (OIV-MA-AS323-04B, from memory).
_END_POINT_LOW_S: Final = 10.0
_END_POINT_HIGH_S: Final = 15.0

# Repeatability r: two single results of one person differ by more only once in 20 times [mg/L]. Total by aeration with
# 50 mL up to 50 mg/L, and with 20 mL above: OIV-MA-AS323-04A, from memory.
_REPEATABILITY_LOW_MG_L: Final = 1.0
_REPEATABILITY_HIGH_MG_L: Final = 6.0
# The other titrations have no r that is known here: 3 mg/L or 10 %, whichever is more (a working default, no source).
_DEFAULT_REPEATABILITY_MG_L: Final = 3.0
_DEFAULT_REPEATABILITY_SHARE: Final = 0.10
# How far n results may lie apart once in 20 times, in standard deviations (ISO 5725-6, from memory; a test works the
# distribution of the range out).
_RANGE: Final[dict[int, float]] = {2: 2.8, 3: 3.3, 4: 3.6, 5: 3.9, 6: 4.0, 7: 4.2, 8: 4.3, 9: 4.4, 10: 4.5}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a titration gave.

    so2_mg_l: SO2 [mg/L], None where the titre does not stand above the blank; u_mg_l: its standard uncertainty [mg/L],
    then that of a result near 0; parts: what the uncertainty is made of; warnings: what a person
    should know, the gravest first.
    """

    so2_mg_l: float | None
    u_mg_l: float
    parts: Parts
    warnings: tuple[ResultWarning, ...]


def titrated(titration: Titration, at_ms: int | None = None) -> Outcome:
    """Work out the SO2 of a titration, its standard uncertainty, and what speaks against it.

    at_ms: when it was done (UTC milliseconds); None where no time is known, then the bottle's age is not judged.
    """
    so2_mg_l = titration.so2_mg_l
    parts = uncertainty_of(titration, so2_mg_l or 0.0)
    return Outcome(so2_mg_l, parts.combined, parts, _warnings(titration, so2_mg_l, parts, at_ms))


def _warnings(
    titration: Titration, so2_mg_l: float | None, parts: Parts, at_ms: int | None
) -> tuple[ResultWarning, ...]:
    if so2_mg_l is None:
        warnings = [_below_blank(titration, parts.combined)]
    else:
        warnings = [*_bias(titration), *_implausible(titration, so2_mg_l), *_spread(titration, so2_mg_l)]
    warnings += _large_blank(titration)
    warnings += _volumes(titration)
    warnings += _end_point(titration)
    return (*warnings, *bottle_warnings(titration.bottle, at_ms))


def allowed_spread_mg_l(titration: Titration, so2_mg_l: float) -> float:
    """Give how far the flasks may lie apart [mg/L], largest less smallest, once in 20 times; 0 for a single flask.

    so2_mg_l: the mean result [mg/L]. For two flasks this is the repeatability r.
    """
    flasks = len(titration.titres_ml)
    return _repeatability_mg_l(titration, so2_mg_l) * (_RANGE[flasks] / _RANGE[2]) if flasks > 1 else 0.0


def _repeatability_mg_l(titration: Titration, so2_mg_l: float) -> float:
    if titration.method is Method.AERATION and titration.quantity is So2Quantity.TOTAL:
        low = so2_mg_l <= LOW_TOTAL_MG_L and titration.sample_ml >= LOW_TOTAL_SAMPLE_ML
        return _REPEATABILITY_LOW_MG_L if low else _REPEATABILITY_HIGH_MG_L
    return max(_DEFAULT_REPEATABILITY_MG_L, _DEFAULT_REPEATABILITY_SHARE * so2_mg_l)


def below_mg_l(u_mg_l: float) -> float:
    """Give what a result below the blank is less than [mg/L]: two standard uncertainties [mg/L]."""
    return 2.0 * u_mg_l


def _below_blank(titration: Titration, u_mg_l: float) -> ResultWarning:
    cause = "no titrant was used"
    if titration.blank_ml > 0.0:
        cause = f"the titre of {titration.mean_titre_ml:.4g} mL is not above the blank of {titration.blank_ml:g} mL"
    return ResultWarning(
        ResultWarningKind.BELOW_BLANK,
        f"{cause}: less than about {below_mg_l(u_mg_l):.0f} mg/L {titration.quantity} SO2 cannot be distinguished "
        "from none",
    )


def _bias(titration: Titration) -> list[ResultWarning]:
    iodometric, free = titration.method is Method.IODOMETRIC, titration.quantity is So2Quantity.FREE
    if titration.style is None and (iodometric or free):
        return [
            ResultWarning(
                ResultWarningKind.UNKNOWN_STYLE, "the wine's style is unknown; for red wine this is an upper bound"
            )
        ]
    if titration.style is not Style.RED:
        return []
    if free:
        also = ", and phenolics take up iodine" if iodometric else ""
        return [
            ResultWarning(
                ResultWarningKind.UPPER_BOUND,
                "upper bound: in red wine the acid also frees SO2 that the pigments held, up to two thirds of the "
                f"result{also}",
            )
        ]
    if iodometric:
        return [
            ResultWarning(
                ResultWarningKind.UPPER_BOUND,
                "upper bound: phenolics of red wine take up iodine; near a legal limit have it done by aeration",
            )
        ]
    return []


def _implausible(titration: Titration, so2_mg_l: float) -> list[ResultWarning]:
    most = MOST_SO2_MG_L[titration.quantity]
    if so2_mg_l <= most:
        return []
    text = (
        f"{so2_mg_l:.0f} mg/L of {titration.quantity} SO2 is implausible, more than {most:.0f}: look at the titrant's "
        "strength (molarity or normality), the sample volume and the titre"
    )
    return [ResultWarning(ResultWarningKind.IMPLAUSIBLE_RESULT, text)]


def _spread(titration: Titration, so2_mg_l: float) -> list[ResultWarning]:
    apart = (max(titration.titres_ml) - min(titration.titres_ml)) * titration.mg_l_per_ml
    allowed = allowed_spread_mg_l(titration, so2_mg_l)
    if apart <= allowed + 1e-9:  # a difference of decimal titres is a hair off
        return []
    text = (
        f"the flasks disagree: they lie {apart:.1f} mg/L apart, and {len(titration.titres_ml)} flasks should lie "
        f"within {allowed:.1f} mg/L: titrate another one"
    )
    return [ResultWarning(ResultWarningKind.FLASKS_DISAGREE, text)]


def _large_blank(titration: Titration) -> list[ResultWarning]:
    blank = titration.blank_mg_l
    if blank <= _LARGE_BLANK_MG_L:
        return []
    text = f"the blank is large, {blank:.0f} mg/L as SO2: "
    if titration.method is Method.AERATION:
        text += "neutralise the hydrogen peroxide before the run"
    else:
        text += (
            f"ascorbic acid? As such it would be {blank * _ASCORBIC_PER_SO2:.0f} mg/L, and only a blank with aldehyde "
            "takes it out"
        )
    return [ResultWarning(ResultWarningKind.LARGE_BLANK, text)]


def _volumes(titration: Titration) -> list[ResultWarning]:
    warnings = []
    titre = max(*titration.titres_ml, titration.blank_ml)
    if titre > titration.burette_ml:
        text = (
            f"{titre:g} mL is more than the burette of {titration.burette_ml:g} mL holds; if it was refilled, take "
            "less wine or a stronger titrant"
        )
        warnings.append(ResultWarning(ResultWarningKind.BEYOND_BURETTE, text))
    if not _SAMPLE_LOW_ML <= titration.sample_ml <= _SAMPLE_HIGH_ML:
        text = (
            f"a sample of {titration.sample_ml:g} mL is unusual; the methods take {_SAMPLE_LOW_ML:g} to "
            f"{_SAMPLE_HIGH_ML:g} mL of wine"
        )
        warnings.append(ResultWarning(ResultWarningKind.UNUSUAL_SAMPLE, text))
    return warnings


def _end_point(titration: Titration) -> list[ResultWarning]:
    seconds = titration.end_point_s
    if seconds is None or _END_POINT_LOW_S <= seconds <= _END_POINT_HIGH_S:
        return []
    error = (
        "a shorter wait may stop before the end point and read low"
        if seconds < _END_POINT_LOW_S
        else "a longer wait reads higher, because bound SO2 keeps coming free"
    )
    text = (
        f"the blue had to stay for {seconds:g} s, and OIV takes {_END_POINT_LOW_S:g} to {_END_POINT_HIGH_S:g} s; "
        f"{error}: compare only results with one criterion"
    )
    return [ResultWarning(ResultWarningKind.END_POINT, text)]
