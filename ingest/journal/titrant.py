"""Titrants: a strength that carries its meaning, and the bottle that the titrant comes from.

"0.01" says nothing: 0.01 mol/L of iodine is 0.02 eq/L, and 0.01 mol/L of potassium iodate is 0.06 eq/L. So a strength
is always a number with what it means, and

    N = e x c        N: normality [eq/L], c: the number [mol/L or eq/L], e: equivalents per mole (``EQUIVALENTS``)

A bottle adds the factor that standardising gave it: N found / N on the label.
"""

from __future__ import annotations

__all__ = ["EQUIVALENTS", "Bottle", "Meaning", "Titrant", "TitrantStrength", "bottle_warnings"]

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite
from typing import Final

from ingest.journal.result_warnings import ResultWarning, ResultWarningKind, TitrationRefused


class Titrant(StrEnum):
    """What is in the bottle."""

    IODINE = "iodine"
    IODATE = "iodide-iodate"
    NAOH = "sodium hydroxide"


class Meaning(StrEnum):
    """What the number of a strength means: normality in eq/L, the others in mol/L."""

    NORMALITY = "normality"
    IODINE_MOLARITY = "iodine molarity"
    IODATE_MOLARITY = "iodate molarity"
    NAOH_MOLARITY = "sodium hydroxide molarity"


# Equivalents per mole, by the reactions: I2 + 2 e- -> 2 I-; IO3- + 5 I- + 6 H+ -> 3 I2 + 3 H2O with iodide and acid in
# excess, and each I2 takes 2 e-; NaOH gives one OH-.
EQUIVALENTS: Final[dict[Meaning, float]] = {
    Meaning.NORMALITY: 1.0,
    Meaning.IODINE_MOLARITY: 2.0,
    Meaning.IODATE_MOLARITY: 6.0,
    Meaning.NAOH_MOLARITY: 1.0,
}

_MEANINGS: Final[dict[Titrant, frozenset[Meaning]]] = {
    Titrant.IODINE: frozenset({Meaning.NORMALITY, Meaning.IODINE_MOLARITY}),
    Titrant.IODATE: frozenset({Meaning.NORMALITY, Meaning.IODATE_MOLARITY}),
    Titrant.NAOH: frozenset({Meaning.NORMALITY, Meaning.NAOH_MOLARITY}),
}

# A choice of this project: stronger than any titrant, but still a number that can be reckoned with.
_STRONGEST_EQ_L: Final = 10.0
_LARGEST_FACTOR: Final = 10.0
# What titrants for SO2 in wine have [eq/L]: from 1/128 to 0.05 in the methods known here, with room on both sides
# (common practice, no source).
_USUAL_LOW_EQ_L: Final = 0.005
_USUAL_HIGH_EQ_L: Final = 0.06

# A factor beyond these says that the bottle has gone off or was made wrong; a choice of this project.
_FACTOR_LOW: Final = 0.90
_FACTOR_HIGH: Final = 1.05

# Iodine goes with light, air and evaporation, and dilute NaOH takes CO2 from the air: monthly. Iodate is a primary
# standard and keeps for months: half a year. Both common practice, no source.
_FRESH_DAYS: Final[dict[Titrant, int]] = {Titrant.IODINE: 31, Titrant.IODATE: 183, Titrant.NAOH: 31}
_DAY_MS: Final = 86_400_000
# A day that is written without a time is its noon.
_HALF_A_DAY_MS: Final = _DAY_MS // 2


@dataclass(frozen=True, slots=True)
class TitrantStrength:
    """A strength with what it means; number: eq/L for a normality, else mol/L.

    Raises TitrationRefused where the number is not above 0, or makes more than 10 eq/L.
    """

    number: float
    meaning: Meaning

    def __post_init__(self) -> None:
        if not (isfinite(self.number) and 0.0 < self.normality_eq_l <= _STRONGEST_EQ_L):
            raise TitrationRefused(
                "strength",
                f"a {self.meaning} of {self.number:g} {self.unit} cannot be: it must be above 0 and at most "
                f"{_STRONGEST_EQ_L / EQUIVALENTS[self.meaning]:.3g} {self.unit}; titrants for wine have about 0.01",
            )

    @property
    def unit(self) -> str:
        """The unit of the number."""
        return "eq/L" if self.meaning is Meaning.NORMALITY else "mol/L"

    @property
    def normality_eq_l(self) -> float:
        """The normality [eq/L] by the label."""
        return self.number * EQUIVALENTS[self.meaning]

    def __str__(self) -> str:
        return f"{self.meaning} {self.number:g} {self.unit}"


@dataclass(frozen=True, slots=True)
class Bottle:
    """A bottle of titrant.

    factor: N found / N on the label, None where nobody has standardised it and the label is believed;
    standardised_ms: when the factor was found; opened_ms: when the bottle was opened or made up (UTC milliseconds).
    Raises TitrationRefused for a strength that the titrant cannot have, and for a factor that none can be.
    """

    titrant: Titrant
    strength: TitrantStrength
    factor: float | None = None
    standardised_ms: int | None = None
    opened_ms: int | None = None

    def __post_init__(self) -> None:
        allowed = _MEANINGS[self.titrant]
        if self.strength.meaning not in allowed:
            meanings = " or ".join(meaning for meaning in Meaning if meaning in allowed)
            raise TitrationRefused(
                "strength",
                f"a bottle of {self.titrant} has no {self.strength.meaning}; its strength is given as {meanings}",
            )
        if self.factor is not None:
            _check_factor(self.factor)
        elif self.standardised_ms is not None:
            raise TitrationRefused(
                "factor",
                "a bottle that was standardised needs the factor that was found; write 1 if it was as labelled",
            )

    @property
    def normality_eq_l(self) -> float:
        """What it really has [eq/L]: label times factor."""
        return self.strength.normality_eq_l * (1.0 if self.factor is None else self.factor)

    @property
    def trusted(self) -> bool:
        """Whether its strength rests on more than the label: it was standardised, or is a primary standard."""
        return self.factor is not None or self.titrant is Titrant.IODATE


def bottle_warnings(bottle: Bottle, at_ms: int | None) -> tuple[ResultWarning, ...]:
    """Find what speaks against a bottle; at_ms: when it is used (UTC milliseconds), None where no time is known.

    Without a time its strength and factor are judged, but not its age.
    """
    warnings = []
    normality = bottle.strength.normality_eq_l
    if not _USUAL_LOW_EQ_L <= normality <= _USUAL_HIGH_EQ_L:
        warnings.append(
            ResultWarning(
                ResultWarningKind.UNUSUAL_STRENGTH,
                f"{bottle.strength} makes {normality:.4g} eq/L, and titrants for wine have {_USUAL_LOW_EQ_L:g} to "
                f"{_USUAL_HIGH_EQ_L:g}: was a molarity taken for a normality, or the other way round?",
            )
        )
    if bottle.factor is not None and not _FACTOR_LOW <= bottle.factor <= _FACTOR_HIGH:
        warnings.append(
            ResultWarning(
                ResultWarningKind.FACTOR,
                f"the factor {bottle.factor:g} is outside {_FACTOR_LOW:.2f} to {_FACTOR_HIGH:.2f}: standardise again, "
                "and if it stays so make the titrant new",
            )
        )
    if at_ms is not None:
        warnings += _age_warnings(bottle, at_ms)
    return tuple(warnings)


def _age_warnings(bottle: Bottle, at_ms: int) -> list[ResultWarning]:
    warnings = []
    if bottle.opened_ms is not None and bottle.opened_ms > at_ms + _HALF_A_DAY_MS:
        warnings.append(
            ResultWarning(
                ResultWarningKind.BOTTLE_DATES,
                "the bottle was opened only after this: is it the right bottle and date?",
            )
        )
    if bottle.standardised_ms is not None and bottle.standardised_ms > at_ms + _HALF_A_DAY_MS:
        days = (bottle.standardised_ms - at_ms) / _DAY_MS
        warnings.append(
            ResultWarning(ResultWarningKind.BOTTLE_DATES, f"the factor was found {days:.0f} days after this")
        )
    fresh_days = _FRESH_DAYS[bottle.titrant]
    since_ms = bottle.opened_ms if bottle.standardised_ms is None else bottle.standardised_ms
    if since_ms is None:
        # A primary standard without a date is as good as its label; the others are only as good as their last check.
        if bottle.titrant is not Titrant.IODATE:
            text = f"nobody wrote down when the {bottle.titrant} was opened or standardised: standardise it"
            warnings.append(ResultWarning(ResultWarningKind.STALE_FACTOR, text))
    elif at_ms - since_ms > fresh_days * _DAY_MS:
        days = (at_ms - since_ms) / _DAY_MS
        done = "opened" if bottle.standardised_ms is None else "standardised"
        text = f"the {bottle.titrant} was {done} {days:.0f} days ago; after {fresh_days} days standardise it again"
        warnings.append(ResultWarning(ResultWarningKind.STALE_FACTOR, text))
    return warnings


def _check_factor(factor: float) -> None:
    if not (isfinite(factor) and 0.0 < factor <= _LARGEST_FACTOR):
        raise TitrationRefused(
            "factor",
            f"{factor:g} is not a factor: it is the strength found divided by that on the label, near 1 and above 0; "
            "97 % is written 0.97",
        )
