"""Molecular SO2 from free SO2, and the free SO2 that a molecular target needs, by two named models.

    molecular = free / (1 + 10^(pH - pK))          free needed = target x (1 + 10^(pH - pK))        [mg/L, as SO2]

Both models use this equation (Henderson-Hasselbalch of SO2 + H2O = H+ + HSO3-; sulfite ions are left out, which
at pH 4.5 makes less than 1 %). They differ in the pK alone, so a number means something only together with its model.

``simple``: one pK for every wine, 1.81 by default, near that of water at 20 °C. The targets and printed tables of the
trade are made with it (University of California Cooperative Extension, Enology Briefs I no. 1, 1982, by way of a
laboratory handout).

``oiv``: the mixed pK of OIV-MA-AS323-04C, table II, at an ionic strength of 0.038 mol/L, bilinear in pK between its
rows and columns (table II from memory; table I of the same method, which was read, turns into it by the Debye-Hückel
equation in every cell, which a test repeats). Its steep slope above 20 °C must not be continued downwards: the
calorimetric slope is a third to a quarter of it. So below 20 °C the row of 20 °C counts, moved by the calorimetric
shift of the pK of water:

    ln K(T) = ln K(T0) - (dH - T0 dCp)/R (1/T - 1/T0) + dCp/R ln(T/T0),      pK = -ln K / ln 10

with T in K, T0 = 298.15 K, dH = -17.80 kJ/mol, dCp = -272 J/(mol K) (Goldberg and Parker 1985, J. Res. NBS 90:341, for
278 to 393 K; the two numbers from memory). That is an extrapolation, and marked as one.

Worked example: 12 % vol, 12 °C: pK = 1.955 - 0.077 = 1.878; 30 mg/L free at pH 3.45 are 0.78 mg/L by ``oiv`` and 0.67
by ``simple``.
"""

from __future__ import annotations

__all__ = [
    "FREE_SO2_RANGE",
    "OIV_ALCOHOL_RANGE",
    "OIV_PK",
    "OIV_TEMPERATURE_RANGE",
    "PH_RANGE",
    "SIMPLE_PK",
    "TRADE_PK",
    "USUAL_U_PH",
    "FreeNeeded",
    "MolecularModel",
    "MolecularSo2",
    "Pk",
    "calorimetric_shift",
    "free_needed",
    "molecular_so2",
    "oiv_pk",
    "simple_pk",
]

from bisect import bisect_right
from dataclasses import dataclass
from enum import StrEnum
from math import hypot, log
from typing import Final

from alerts.allowed_range import AllowedRange

# The pK of the simple model (aqueous, near 18 to 20 °C: CRC Handbook, older editions, from memory).
SIMPLE_PK: Final = 1.81
# What any wine may have: pH and mg/L. Choices of this project, wide on purpose; those of the pH are also those beyond
# which `leeside enter` doubts one.
PH_RANGE: Final = AllowedRange("pH", 2.5, 4.5, "", "wine has")
FREE_SO2_RANGE: Final = AllowedRange("free SO2", 0.0, 400.0, "mg/L", "wine has")
# Wide on purpose, so that any molecular SO2 can be turned back: no sensible target is above 2 mg/L.
_TARGET_RANGE: Final = AllowedRange("molecular target", 0.001, 100.0, "mg/L", "targets go")
# From pure water at 40 °C (OIV: 2.4) and strong wine (2.8) to less than any published figure (1.77).
_PK_RANGE: Final = AllowedRange("pK", 1.0, 3.0, "", "published ones go")
OIV_ALCOHOL_RANGE: Final = AllowedRange("alcohol", 0.0, 20.0, "% vol", "OIV-MA-AS323-04C goes")
# The table starts at 20 °C, and the calorimetry behind the extrapolation at 5 °C. From there down to where wine freezes
# a heat capacity that is off by all of itself would move the pK by less than 0.01.
OIV_TEMPERATURE_RANGE: Final = AllowedRange("temperature", -5.0, 40.0, "°C", "the oiv model goes")

# OIV-MA-AS323-04C, table II: alcohol [% vol] by temperature [°C].
_ALCOHOL: Final = (0.0, 5.0, 10.0, 15.0, 20.0)
_TEMPERATURE: Final = (20.0, 25.0, 30.0, 35.0, 40.0)
OIV_PK: Final = (
    (1.723, 1.925, 2.143, 2.257, 2.416),
    (1.819, 2.020, 2.220, 2.317, 2.446),
    (1.916, 2.116, 2.311, 2.405, 2.522),
    (2.014, 2.216, 2.417, 2.520, 2.640),
    (2.114, 2.317, 2.538, 2.663, 2.803),
)

_ZERO_C_K: Final = 273.15
_T0_K: Final = 298.15
_R_J_MOL_K: Final = 8.314463
_DH_J_MOL: Final = -17_800.0
_DCP_J_MOL_K: Final = -272.0
_LN_10: Final = log(10.0)
# Standard uncertainty of an extrapolated pK: half of 0.05. Enthalpy and heat capacity alone would give 0.005 at 10 °C;
# the rest is the unknown effect of ethanol on them, and of the row of 20 °C (a working default, no source).
_U_EXTRAPOLATED: Final = 0.025


# Standard uncertainty of a pH of which nothing else is known: a meter as people keep it (a working default, no source).
USUAL_U_PH: Final = 0.05


class MolecularModel(StrEnum):
    """Which pK a molecular SO2 was worked out with."""

    SIMPLE = "simple"
    OIV = "oiv"


@dataclass(frozen=True, slots=True)
class Pk:
    """The first pK of SO2 in a wine, by a model.

    u: its standard uncertainty. A pK that the model defines has none; how far the model is from the truth is not in it.
    extrapolated: the model's table does not reach there.
    """

    model: MolecularModel
    value: float
    u: float = 0.0
    extrapolated: bool = False

    def fraction(self, ph: float) -> float:
        """Give the share of free SO2 that is molecular, from 0 to 1. Raises OutOfRange for a pH that no wine has."""
        above: float = PH_RANGE.checked(ph) - self.value
        return float(1.0 / (1.0 + 10.0**above))

    @property
    def name(self) -> str:
        """The model as people read it behind a number: "pK 1.81", "OIV", "OIV, extrapolated"."""
        if self.model is MolecularModel.SIMPLE:
            return f"pK {self.value:.4g}"
        return "OIV, extrapolated" if self.extrapolated else "OIV"


# The pK of the trade's targets.
TRADE_PK: Final = Pk(MolecularModel.SIMPLE, SIMPLE_PK)


@dataclass(frozen=True, slots=True)
class MolecularSo2:
    """Molecular SO2 [mg/L] with its standard uncertainty [mg/L], the pK it is by, and its share of the free SO2."""

    mg_l: float
    u_mg_l: float
    pk: Pk
    fraction: float


@dataclass(frozen=True, slots=True)
class FreeNeeded:
    """Free SO2 [mg/L] that a molecular target needs, its standard uncertainty [mg/L], the pK, and the share."""

    mg_l: float
    u_mg_l: float
    pk: Pk
    fraction: float


def simple_pk(value: float = SIMPLE_PK) -> Pk:
    """Give the pK of the simple model. Raises OutOfRange outside 1 to 3."""
    return Pk(MolecularModel.SIMPLE, _PK_RANGE.checked(value))


def oiv_pk(
    alcohol_percent_vol: float, temperature_c: float, u_alcohol_percent_vol: float = 0.0, u_temperature_c: float = 0.0
) -> Pk:
    """Work out the pK of the OIV model: table II from 20 to 40 °C, extrapolated from -5 to 20 °C.

    The uncertainties are standard ones. Raises OutOfRange outside 0 to 20 % vol and -5 to 40 °C.
    """
    alcohol = OIV_ALCOHOL_RANGE.checked(alcohol_percent_vol)
    celsius = OIV_TEMPERATURE_RANGE.checked(temperature_c)
    extrapolated = celsius < _TEMPERATURE[0]
    return Pk(
        MolecularModel.OIV,
        _oiv_value(alcohol, celsius),
        hypot(
            _U_EXTRAPOLATED if extrapolated else 0.0,
            _slope(alcohol, celsius, by_alcohol=u_alcohol_percent_vol) * u_alcohol_percent_vol,
            _slope(alcohol, celsius, by_temperature=u_temperature_c) * u_temperature_c,
        ),
        extrapolated,
    )


def calorimetric_shift(temperature_c: float) -> float:
    """Work out by how much the pK of SO2 in water differs from that at 20 °C [-], by calorimetry."""

    def ln_k(celsius: float) -> float:
        kelvin = celsius + _ZERO_C_K
        enthalpy = (_DH_J_MOL - _T0_K * _DCP_J_MOL_K) / _R_J_MOL_K
        return -enthalpy * (1.0 / kelvin - 1.0 / _T0_K) + _DCP_J_MOL_K / _R_J_MOL_K * log(kelvin / _T0_K)

    return (ln_k(_TEMPERATURE[0]) - ln_k(temperature_c)) / _LN_10


def molecular_so2(free_mg_l: float, ph: float, pk: Pk, *, u_free_mg_l: float = 0.0, u_ph: float = 0.0) -> MolecularSo2:
    """Work out the molecular SO2 of a wine.

    free_mg_l: 0 to 400; ph: 2.5 to 4.5; u_free_mg_l, u_ph: standard uncertainties, combined with that of the pK as
    independent: u^2 = (f u_free)^2 + (ln 10 x m (1 - f))^2 (u_ph^2 + u_pk^2). Raises OutOfRange.
    """
    fraction = pk.fraction(ph)
    mg_l = FREE_SO2_RANGE.checked(free_mg_l) * fraction
    u_mg_l = hypot(fraction * u_free_mg_l, _LN_10 * mg_l * (1.0 - fraction) * hypot(u_ph, pk.u))
    return MolecularSo2(mg_l, u_mg_l, pk, fraction)


def free_needed(target_mg_l: float, ph: float, pk: Pk, *, u_ph: float = 0.0) -> FreeNeeded:
    """Work out the free SO2 that a molecular target needs; the inverse of ``molecular_so2``.

    target_mg_l: molecular, 0.001 to 100; ph: 2.5 to 4.5; u_ph: standard uncertainty, combined with that of the pK. The
    result may be more than any wine should hold. Raises OutOfRange.
    """
    fraction = pk.fraction(ph)
    mg_l = _TARGET_RANGE.checked(target_mg_l) / fraction
    return FreeNeeded(mg_l, _LN_10 * mg_l * (1.0 - fraction) * hypot(u_ph, pk.u), pk, fraction)


def _oiv_value(alcohol: float, celsius: float) -> float:
    row, share = _cell(_ALCOHOL, alcohol)
    if celsius < _TEMPERATURE[0]:
        return _between(OIV_PK[row][0], OIV_PK[row + 1][0], share) + calorimetric_shift(celsius)
    column, along = _cell(_TEMPERATURE, celsius)
    weaker = _between(OIV_PK[row][column], OIV_PK[row][column + 1], along)
    stronger = _between(OIV_PK[row + 1][column], OIV_PK[row + 1][column + 1], along)
    return _between(weaker, stronger, share)


def _slope(alcohol: float, celsius: float, *, by_alcohol: float = 0.0, by_temperature: float = 0.0) -> float:
    """The slope of the pK over one standard uncertainty on either side, as far as the model reaches."""
    low = OIV_ALCOHOL_RANGE.nearest(alcohol - by_alcohol), OIV_TEMPERATURE_RANGE.nearest(celsius - by_temperature)
    high = OIV_ALCOHOL_RANGE.nearest(alcohol + by_alcohol), OIV_TEMPERATURE_RANGE.nearest(celsius + by_temperature)
    width = (high[0] - low[0]) + (high[1] - low[1])
    return 0.0 if width == 0.0 else (_oiv_value(*high) - _oiv_value(*low)) / width


def _cell(marks: tuple[float, ...], value: float) -> tuple[int, float]:
    """The interval of a table's marks that a value is in, and where in it, 0 to 1."""
    index = min(bisect_right(marks, value), len(marks) - 1) - 1
    return index, (value - marks[index]) / (marks[index + 1] - marks[index])


def _between(first: float, second: float, share: float) -> float:
    return first + share * (second - first)
