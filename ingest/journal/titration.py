"""Titrations of sulfur dioxide: from millilitres to mg/L, and how far that may be off.

Iodometric (iodine takes up SO2) and aeration-oxidation (gas carries the SO2 into hydrogen peroxide, and the sulfuric
acid that it becomes is titrated), free and total, all by

    SO2 = (V - V0) N f x 32.03 x 1000 / S        [mg/L, as SO2]

V: mean titre over the flasks [mL]; V0: blank [mL]; N: normality of the titrant [eq/L]; f: its factor; S: wine in the
flask [mL]. Acid, starch and soda in the flask do not enter. One SO2 gives two electrons to iodine, and two H+ as
sulfuric acid, so its equivalent mass is half of 64.06 g/mol either way. The equations of OIV-MA-AS323-04A and 04B,
which print 32 for 32.03 (from memory; the aeration factor for 50 mL also in Regulation (EEC) 2676/90).

Worked example: 1.20 mL of 0.02 eq/L, blank 0.20 mL, 25 mL of wine: 1.00 x 0.02 x 32.03 x 1000 / 25 = 25.6 mg/L.

The standard uncertainty combines its parts as squares (JCGM 100, the GUM, 5.1.2, taken as independent): reading of the
burette for titre and blank, strength, sample volume, spread of the flasks, and what the method itself repeats to. The
last already holds a little of the others, so the whole leans to the large side.
"""

from __future__ import annotations

__all__ = [
    "EQUIVALENT_MASS_G",
    "LARGEST_BURETTE_ML",
    "LOW_TOTAL_MG_L",
    "LOW_TOTAL_SAMPLE_ML",
    "MOST_FLASKS",
    "READING_ML",
    "Method",
    "Parts",
    "So2Quantity",
    "Style",
    "Titration",
    "titre_ml",
    "uncertainty_of",
]

import unicodedata
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite, sqrt
from statistics import fmean, stdev
from typing import Final

from ingest.journal.result_warnings import Field, TitrationRefused
from ingest.journal.titrant import Bottle, Titrant

# Half of M(SO2) = 64.06 g/mol (IUPAC atomic masses: S 32.06, O 15.999) [g/eq].
EQUIVALENT_MASS_G: Final = 32.03

# How far a titre may be off by reading [mL]: half-width, any value inside as likely, so divided by the root of 3 (GUM
# 4.3.7). Half a division of a burette divided in 0.1 mL (common practice, no source).
READING_ML: Final = 0.05
# How far the wine in the flask may be off from what is written, half-width, rectangular: twice what a good pipette may
# have, since people pour as well (a working default, no source).
_SAMPLE_SHARE: Final = 0.01
# Strength of a titrant: standard uncertainty where it was standardised or is a primary standard, and half-width
# (rectangular) where only the label is known (working defaults, no source).
_CHECKED_SHARE: Final = 0.005
_LABEL_SHARE: Final = 0.05
# Reproducibility R, between laboratories, of total SO2 by aeration: 9 mg/L for 50 mL of wine with at most 50 mg/L, and
# 15 mg/L for 20 mL above (Regulation (EEC) 2676/90); s_R = R / 2.8 (ISO 5725-6).
_REPRODUCIBILITY_LOW_MG_L: Final = 9.0
_REPRODUCIBILITY_HIGH_MG_L: Final = 15.0
_R_PER_S: Final = 2.8
# Elsewhere no figure is known here: a careful titration is taken to be good to 3 mg/L or 10 %, whichever is more, at
# two standard uncertainties (a working default, no source).
_DEFAULT_MG_L: Final = 1.5
_DEFAULT_SHARE: Final = 0.05

# OIV-MA-AS323-04A (from memory) parts the total by aeration here: 50 mL of wine up to it, 20 mL above [mg/L, mL].
LOW_TOTAL_MG_L: Final = 50.0
LOW_TOTAL_SAMPLE_ML: Final = 50.0

# Beyond these no flask and no burette goes; a choice of this project, so that slips of the comma are caught.
_MOST_ML: Final = 1000.0
_LEAST_SAMPLE_ML: Final = 0.1
MOST_FLASKS: Final = 10
# The largest burette that is made to ISO 385 [mL] (from memory).
LARGEST_BURETTE_ML: Final = 100.0


class Method(StrEnum):
    """How it was titrated."""

    IODOMETRIC = "iodometric"
    AERATION = "aeration"


class So2Quantity(StrEnum):
    """Which SO2: the free, or free and bound together."""

    FREE = "free"
    TOTAL = "total"


class Style(StrEnum):
    """What kind of wine it is, as far as titrations care."""

    WHITE = "white"
    ROSE = "rosé"
    RED = "red"
    SWEET = "sweet"

    @classmethod
    def _missing_(cls, value: object) -> Style | None:
        """Also take ``rose``, and the accent written as a character of its own."""
        if not isinstance(value, str):
            return None
        plain = unicodedata.normalize("NFC", value)
        return cls.ROSE if plain in ("rosé", "rose") else None


_TITRANTS: Final[dict[Method, frozenset[Titrant]]] = {
    Method.IODOMETRIC: frozenset({Titrant.IODINE, Titrant.IODATE}),
    Method.AERATION: frozenset({Titrant.NAOH}),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Titration:
    """What was done at the bench.

    titres_ml: titrant used, one for each flask [mL]; where bound SO2 was freed in steps, the sum of the steps;
    sample_ml: wine in each flask [mL]; blank_ml: the same without free SO2 [mL], 0 where none was titrated;
    style: None where it is not known; burette_ml: what the burette holds [mL]; end_point_s: how long the blue had to
    stay [s], None where nobody wrote it down, and always None for aeration.
    Raises TitrationRefused, which names the part, for what cannot be titrated or has the wrong titrant.
    """

    method: Method
    quantity: So2Quantity
    style: Style | None
    titres_ml: tuple[float, ...]
    sample_ml: float
    bottle: Bottle
    blank_ml: float = 0.0
    burette_ml: float = 25.0
    end_point_s: float | None = None

    def __post_init__(self) -> None:
        if not 1 <= len(self.titres_ml) <= MOST_FLASKS:
            raise TitrationRefused(
                "titre", f"a titration has 1 to {MOST_FLASKS} flasks, not {len(self.titres_ml)}; give a titre for each"
            )
        for titre in self.titres_ml:
            _check_ml("titre", titre, 0.0)
        _check_ml("blank", self.blank_ml, 0.0)
        _check_ml("sample", self.sample_ml, _LEAST_SAMPLE_ML)
        _check_ml("burette", self.burette_ml, _LEAST_SAMPLE_ML)
        if self.bottle.titrant not in _TITRANTS[self.method]:
            allowed = " or ".join(titrant for titrant in Titrant if titrant in _TITRANTS[self.method])
            raise TitrationRefused(
                "strength",
                f"the {self.method} method takes {allowed}, not {self.bottle.titrant} ({self.bottle.strength})",
            )
        if self.end_point_s is None:
            return
        if self.method is Method.AERATION:
            raise TitrationRefused(
                "end point", "aeration ends at a pH, not at a blue that stays; leave the seconds out"
            )
        if not (isfinite(self.end_point_s) and self.end_point_s > 0.0):
            raise TitrationRefused(
                "end point", f"the blue cannot stay for {self.end_point_s:g} s; write how long you waited, such as 15"
            )

    @property
    def mean_titre_ml(self) -> float:
        """The mean titre of the flasks [mL]."""
        return fmean(self.titres_ml)

    @property
    def mg_l_per_ml(self) -> float:
        """What one millilitre of titrant stands for [mg/L of SO2 per mL]."""
        return self.bottle.normality_eq_l * EQUIVALENT_MASS_G * 1000.0 / self.sample_ml

    @property
    def blank_mg_l(self) -> float:
        """What the blank stands for [mg/L as SO2]."""
        return self.blank_ml * self.mg_l_per_ml

    @property
    def so2_mg_l(self) -> float | None:
        """SO2 [mg/L]; None if the mean titre is not above the blank, since a result cannot be negative."""
        above_ml = self.mean_titre_ml - self.blank_ml
        return above_ml * self.mg_l_per_ml if above_ml > 0.0 else None


@dataclass(frozen=True, slots=True)
class Parts:
    """What the standard uncertainty is made of; each a standard uncertainty [mg/L]."""

    reading: float
    strength: float
    sample: float
    spread: float
    method: float

    @property
    def combined(self) -> float:
        """The root of the sum of their squares [mg/L]."""
        return sqrt(self.reading**2 + self.strength**2 + self.sample**2 + self.spread**2 + self.method**2)


def titre_ml(start_ml: float, end_ml: float, burette_ml: float = LARGEST_BURETTE_ML) -> float:
    """Read the titre [mL] from the burette before and after; it counts down from the top, so the end is the larger.

    burette_ml: what it holds [mL], by default the largest there is. Raises TitrationRefused for readings that such a
    burette cannot show.
    """
    for name, reading in (("start", start_ml), ("end", end_ml)):
        if not 0.0 <= reading <= burette_ml:
            raise TitrationRefused(
                "burette", f"the burette's {name} is {reading:g} mL, and its marks go from 0 to {burette_ml:g} mL"
            )
    if end_ml < start_ml:
        raise TitrationRefused(
            "burette",
            f"the burette ends at {end_ml:g} mL, above its start at {start_ml:g} mL; its marks count from the top: "
            "are the two swapped?",
        )
    return end_ml - start_ml


def uncertainty_of(titration: Titration, so2_mg_l: float) -> Parts:
    """Work out the parts of the standard uncertainty [mg/L] of a result [mg/L, 0 or more]."""
    per_ml, titres = titration.mg_l_per_ml, titration.titres_ml
    one_reading_ml = READING_ML / sqrt(3.0)
    # Each flask is read separately; the blank is subtracted from all of them, so its error stays whole.
    readings = 1.0 / len(titres) + (1.0 if titration.blank_ml > 0.0 else 0.0)
    strength = _CHECKED_SHARE if titration.bottle.trusted else _LABEL_SHARE / sqrt(3.0)
    return Parts(
        reading=per_ml * one_reading_ml * sqrt(readings),
        strength=so2_mg_l * strength,
        sample=so2_mg_l * _SAMPLE_SHARE / sqrt(3.0),
        spread=per_ml * stdev(titres) / sqrt(len(titres)) if len(titres) > 1 else 0.0,
        method=_method_u(titration, so2_mg_l),
    )


def _method_u(titration: Titration, so2_mg_l: float) -> float:
    """What the method itself is good to [mg/L, standard uncertainty]."""
    if titration.method is Method.AERATION and titration.quantity is So2Quantity.TOTAL:
        low = so2_mg_l <= LOW_TOTAL_MG_L and titration.sample_ml >= LOW_TOTAL_SAMPLE_ML
        return (_REPRODUCIBILITY_LOW_MG_L if low else _REPRODUCIBILITY_HIGH_MG_L) / _R_PER_S
    return max(_DEFAULT_MG_L, _DEFAULT_SHARE * so2_mg_l)


def _check_ml(field: Field, value: float, least: float) -> None:
    if not (isfinite(value) and least <= value <= _MOST_ML):
        raise TitrationRefused(field, f"a {field} of {value:g} mL cannot be; allowed are {least:g} to {_MOST_ML:g} mL")
