"""Flow of wine through a tube by a difference of pressure: laminar, turbulent, and uncertain between.

    dp = (f L / d + K) rho v² / 2          Darcy and Weisbach; K = 1.5 for entry and exit
    Re = rho v d / mu
    f = 64 / Re                            laminar, Re below 2,000 (Hagen and Poiseuille)
    f = 0.316 Re^-0.25                     turbulent in a smooth tube, to 100,000 (Blasius)
    1 / sqrt(f) = 2 log10(Re sqrt(f)) - 0.8         above, to 4,000,000 (Prandtl and von Kármán)

From Re 2,000 to 4,000 nobody can say which it is. The flow is then a range: turbulent from 2,000 on, the slower, which
counts; or laminar up to 4,000.

Viscosity of dry wine: 1.8 mPa s at 16 °C (1.71 to 1.92), by Arrhenius with 22 kJ/mol (J. Food Engineering 2007, Greek
wines, abstract). Sweet wine is thicker. Fittings, filters and taps slow the flow more than this says.

Worked example: 15.2 kPa over 2 m of 6.35 mm at 17 °C: Re 5,500, 2.9 L/min; Hagen and Poiseuille alone would say 10.
"""

from __future__ import annotations

__all__ = ["GRAVITY_M_S2", "Regime", "Tube", "TubeFlow", "tube_flow", "wine_viscosity"]

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from math import exp, log10, pi, sqrt
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.gas.gases import kelvin
from alerts.gas.wine_density import TEMPERATURE_RANGE

GRAVITY_M_S2: Final = 9.80665
BORE_RANGE: Final = AllowedRange("bore", 1.0, 100.0, "mm", "tubes have")
LENGTH_RANGE: Final = AllowedRange("length", 0.05, 200.0, "m", "tubes have")
_ENTRY_AND_EXIT: Final = 1.5
_LAMINAR_RE: Final = 2000.0
_TURBULENT_RE: Final = 4000.0
_BLASIUS_RE: Final = 100_000.0
# Each adds a bit to the answer.
_HALVINGS: Final = 40
_VISCOSITY_16C: Final = 1.8e-3
_ACTIVATION_J_MOL: Final = 22_000.0
_R_J_MOL_K: Final = 8.314462618


class Regime(StrEnum):
    """How wine flows through a tube."""

    LAMINAR = "laminar"
    TRANSITION = "transition"
    TURBULENT = "turbulent"


@dataclass(frozen=True, slots=True)
class Tube:
    """A smooth tube: bore (inner diameter) 1 to 100 mm, length 0.05 to 200 m."""

    bore_mm: float
    length_m: float

    @property
    def area_m2(self) -> float:
        """Cross section [m²]."""
        return pi / 4.0 * (self.bore_mm / 1000.0) ** 2


@dataclass(frozen=True, slots=True)
class TubeFlow:
    """Flow [L/min] with its regime; high_l_min: if the flow stays laminar as long as it can, else the same."""

    l_min: float
    high_l_min: float
    reynolds: float
    regime: Regime


def wine_viscosity(temperature_c: float) -> float:
    """Work out the viscosity of dry wine [Pa s], -5 to 40 °C. Raises OutOfRange."""
    inverse = 1.0 / kelvin(TEMPERATURE_RANGE.checked(temperature_c)) - 1.0 / kelvin(16.0)
    return _VISCOSITY_16C * exp(_ACTIVATION_J_MOL / _R_J_MOL_K * inverse)


def tube_flow(tube: Tube, pressure_kpa: float, density_kg_m3: float, viscosity_pa_s: float) -> TubeFlow:
    """Work out the flow by a difference of pressure above 0 [kPa]. Raises OutOfRange for a tube that there is not."""
    bore_m = BORE_RANGE.checked(tube.bore_mm) / 1000.0
    LENGTH_RANGE.checked(tube.length_m)
    pressure_pa = 1000.0 * pressure_kpa
    per_re = viscosity_pa_s / (density_kg_m3 * bore_m)

    def drop(reynolds: float, friction: float) -> float:
        """The pressure that a flow takes [Pa]."""
        resistance = friction * tube.length_m / bore_m + _ENTRY_AND_EXIT
        return resistance * density_kg_m3 * (reynolds * per_re) ** 2 / 2.0

    laminar = _laminar(tube, pressure_pa, density_kg_m3, viscosity_pa_s) / per_re
    if pressure_pa <= drop(_LAMINAR_RE, 64.0 / _LAMINAR_RE):
        regime, low, high = Regime.LAMINAR, laminar, laminar
    else:
        # The least turbulent flow takes more pressure than the fastest laminar one: between them it stays at Re 2,000.
        low = _by_halves(lambda re: drop(re, _turbulent_friction(re)) < pressure_pa, _LAMINAR_RE, laminar)
        if pressure_pa >= drop(_TURBULENT_RE, _turbulent_friction(_TURBULENT_RE)):
            regime, high = Regime.TURBULENT, low
        else:
            regime = Regime.TRANSITION
            high = min(laminar, _TURBULENT_RE)
    to_l_min = per_re * tube.area_m2 * 60_000.0
    return TubeFlow(low * to_l_min, high * to_l_min, low, regime)


def _laminar(tube: Tube, pressure_pa: float, density_kg_m3: float, viscosity_pa_s: float) -> float:
    """The speed of laminar flow [m/s]: K rho/2 v² + 32 mu L / d² v = dp."""
    slope = 32.0 * viscosity_pa_s * tube.length_m / (tube.bore_mm / 1000.0) ** 2
    square = _ENTRY_AND_EXIT * density_kg_m3 / 2.0
    return 2.0 * pressure_pa / (slope + sqrt(slope**2 + 4.0 * square * pressure_pa))


def _turbulent_friction(reynolds: float) -> float:
    """The Darcy friction factor of a smooth tube, Re 2,000 to 4,000,000."""
    blasius = 0.316 * float(reynolds**-0.25)
    if reynolds <= _BLASIUS_RE:
        return blasius
    root = sqrt(blasius)
    for _ in range(20):
        root = 1.0 / (2.0 * log10(reynolds * root) - 0.8)
    return root**2


def _by_halves(too_slow: Callable[[float], bool], low: float, high: float) -> float:
    """The Reynolds number between two at which a flow stops being too slow; turbulent flow is slower than laminar."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        if too_slow(middle):
            low = middle
        else:
            high = middle
    return high
