"""Platinum resistance thermometers: from resistance to temperature and back, and how far one may be off.

IEC 60751:2022, with R0 the resistance at 0 °C [ohm], usually 100 (Pt100) or 1000 (Pt1000), and t in °C:

    t >= 0:  R(t) = R0 (1 + A t + B t^2)
    t <  0:  R(t) = R0 (1 + A t + B t^2 + C (t - 100) t^3)

Valid from -200 to 850 °C. Worked example: 107.7935 ohm of a Pt100 are 20.00 °C.
"""

from __future__ import annotations

__all__ = ["HIGHEST_C", "LOWEST_C", "TOLERANCES", "Tolerance", "resistance_ohm", "temperature_c", "tolerance_c"]

from dataclasses import dataclass
from math import isfinite, sqrt
from typing import Final

# IEC 60751:2022, the coefficients of industrial platinum [1/°C, 1/°C2, 1/°C4].
_A: Final = 3.9083e-3
_B: Final = -5.775e-7
_C: Final = -4.183e-12

LOWEST_C: Final = -200.0
HIGHEST_C: Final = 850.0

_CLOSE_ENOUGH_C: Final = 1e-10
_MOST_STEPS: Final = 20  # five are enough at -200 °C


@dataclass(frozen=True, slots=True)
class Tolerance:
    """A tolerance class: off by at most constant_c + slope x |t|, between low_c and high_c [°C]."""

    constant_c: float
    slope: float
    low_c: float
    high_c: float


# IEC 60751:2022. The constants and slopes of A and B are confirmed by a maker's tolerance sheet; those of AA and C, and
# the ranges of all four (wire-wound resistors; film resistors have narrower ones), are from memory.
TOLERANCES: Final[dict[str, Tolerance]] = {
    "AA": Tolerance(0.10, 0.0017, -50.0, 250.0),
    "A": Tolerance(0.15, 0.002, -100.0, 450.0),
    "B": Tolerance(0.30, 0.005, -196.0, 600.0),
    "C": Tolerance(0.60, 0.010, -196.0, 600.0),
}


def resistance_ohm(temperature: float, ohms_at_zero: float = 100.0) -> float:
    """Work out the resistance [ohm] at a temperature [°C, -200 to 850]; ohms_at_zero: R0 [ohm, above 0].

    Raises ValueError outside the range.
    """
    _check_zero(ohms_at_zero)
    if not LOWEST_C <= temperature <= HIGHEST_C:
        raise ValueError(f"{temperature:g} °C is outside {LOWEST_C:g} to {HIGHEST_C:g} °C, the range of IEC 60751")
    return ohms_at_zero * _ratio(temperature)


def temperature_c(resistance: float, ohms_at_zero: float = 100.0) -> float:
    """Work out the temperature [°C] at a resistance [ohm]; ohms_at_zero: R0 [ohm, above 0].

    At and above 0 °C the quadratic is solved; below, Newton's method with the C term starts from its solution, which
    alone would be 0.01 °C off at -40 °C. Raises ValueError where the temperature would lie outside -200 to 850 °C.
    """
    _check_zero(ohms_at_zero)
    lowest, highest = ohms_at_zero * _RATIO_LOWEST, ohms_at_zero * _RATIO_HIGHEST
    if not lowest <= resistance <= highest:
        raise ValueError(
            f"{resistance:g} ohm is outside {lowest:.2f} to {highest:.2f} ohm, which are {LOWEST_C:g} to {HIGHEST_C:g} "
            f"°C of a resistor with {ohms_at_zero:g} ohm at 0 °C (IEC 60751)"
        )
    ratio = resistance / ohms_at_zero
    temperature = (-_A + sqrt(_A * _A - 4.0 * _B * (1.0 - ratio))) / (2.0 * _B)
    if ratio < 1.0:
        for _ in range(_MOST_STEPS):
            step = (_ratio(temperature) - ratio) / _slope_below_zero(temperature)
            temperature -= step
            if abs(step) < _CLOSE_ENOUGH_C:
                break
    return min(max(temperature, LOWEST_C), HIGHEST_C)  # rounding at the very ends


def tolerance_c(temperature: float, tolerance_class: str) -> float:
    """Say by how much [°C, either way] a resistor of a class (AA, A, B, C) may be off at a temperature [°C].

    Raises ValueError for another class, and where the class does not hold.
    """
    row = TOLERANCES.get(tolerance_class)
    if row is None:
        raise ValueError(f'there is no tolerance class "{tolerance_class}"; allowed: {", ".join(TOLERANCES)}')
    if not row.low_c <= temperature <= row.high_c:
        raise ValueError(
            f"{temperature:g} °C is outside {row.low_c:g} to {row.high_c:g} °C, where class {tolerance_class} holds"
        )
    return row.constant_c + row.slope * abs(temperature)


def _check_zero(ohms_at_zero: float) -> None:
    if not (isfinite(ohms_at_zero) and ohms_at_zero > 0.0):
        raise ValueError(f"{ohms_at_zero:g} ohm at 0 °C cannot be; a Pt100 has 100, a Pt1000 has 1000")


def _ratio(temperature: float) -> float:
    ratio = 1.0 + _A * temperature + _B * temperature**2
    if temperature < 0.0:
        ratio += _C * (temperature - 100.0) * temperature**3
    return ratio


def _slope_below_zero(temperature: float) -> float:
    return _A + 2.0 * _B * temperature + _C * (4.0 * temperature**3 - 300.0 * temperature**2)


_RATIO_LOWEST: Final = _ratio(LOWEST_C)
_RATIO_HIGHEST: Final = _ratio(HIGHEST_C)
