"""Compressibility of the gases, Z = p V / (n R T): near the air's pressure, and in cylinders.

``blanket_z``: Z = 1 + B p / (R T), the second virial coefficient by Abbott's correlation (Smith, Van Ness and Abbott,
Introduction to Chemical Engineering Thermodynamics). Within 0.0015 of the reference equations up to 1 MPa.

``cylinder_z``: nitrogen and argon to 32 MPa, -25 to 60 °C:

    Z = 1 + sum_i=1..6 sum_j=0..3 a_ij (p / 10 MPa)^i (293.15 K / T - 1)^j

fitted for leeside to the reference equations of state (Span et al. 2000 for nitrogen, Tegeler, Span and Wagner 1999 for
argon) as CoolProp 8.0 has them; within 0.0001 for nitrogen and 0.0002 for argon. Worked example: nitrogen at 15 MPa and
20 °C has Z = 1.0205.

``carbon_dioxide_z``: carbon dioxide that is gas only, by a fit of the same form to Span and Wagner (1996), as CoolProp
8.0 has them; within 0.5 %, and within 0.1 % but near the critical point.

``carbon_dioxide_vapour_kpa``: vapour pressure of liquid carbon dioxide by the auxiliary equation of Span and Wagner
(1996), triple point to critical point.
"""

from __future__ import annotations

__all__ = [
    "CYLINDER_PRESSURE_RANGE",
    "CYLINDER_TEMPERATURE_RANGE",
    "blanket_z",
    "carbon_dioxide_vapour_kpa",
    "carbon_dioxide_z",
    "cylinder_z",
]

from math import exp
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.gas.gases import GASES, BlanketGas, kelvin

CYLINDER_PRESSURE_RANGE: Final = AllowedRange("absolute pressure", 0.0, 32_000.0, "kPa", "the table of cylinders goes")
CYLINDER_TEMPERATURE_RANGE: Final = AllowedRange("temperature", -25.0, 60.0, "°C", "the table of cylinders goes from")

# a_ij: a row for each power i of p / 10 MPa, 1 to 6; in it the powers j of 293.15 K / T - 1, 0 to 3.
_FITTED: Final = {
    "nitrogen": (
        (-0.0240158, -0.265701, -0.278839, 0.00278544),
        (0.0222954, 0.0384127, -0.0729223, -0.32959),
        (0.00391574, 0.0384233, 0.135735, 0.340168),
        (-0.00149996, -0.0110387, -0.0323334, -0.0897927),
        (8.63744e-05, 0.000448045, -0.000637784, 0.000204216),
        (8.52149e-06, 9.37526e-05, 0.000633064, 0.00169575),
    ),
    "argon": (
        (-0.0680986, -0.323398, -0.305702, -0.0497965),
        (0.0136938, 0.0111977, -0.0519243, -0.037793),
        (0.00291308, 0.00888985, -0.0780943, -0.542976),
        (0.00110609, 0.0180617, 0.143519, 0.638212),
        (-0.000614353, -0.00728129, -0.0508443, -0.225452),
        (6.76842e-05, 0.00077525, 0.00553995, 0.0257342),
    ),
}
# The same of carbon dioxide as a gas, in powers of p / 5 MPa and, 0 to 4, of 293.15 K / T - 1.
_CARBON_DIOXIDE_GAS: Final = (
    (-0.257213, -0.830655, -1.37774, -1.85995, 10.5037),
    (-0.120868, -1.05348, 3.34536, 23.1337, -128.521),
    (0.324857, 3.91373, -11.6689, -133.738, 358.866),
    (-0.745857, -11.4091, -12.9744, 216.413, -325.232),
    (0.726313, 13.6591, 54.982, -76.9919, -18.9985),
    (-0.285465, -6.56585, -47.0957, -121.867, -182.887),
)
_CARBON_DIOXIDE: Final = GASES["carbon dioxide"]
# Span and Wagner 1996, equation 3.13: exponent of 1 - T/Tc, and coefficient (from memory, checked against CoolProp).
_VAPOUR: Final = ((1.0, -7.0602087), (1.5, 1.9391218), (2.0, -1.6463597), (4.0, -3.2995634))


def blanket_z(gas: BlanketGas, pressure_kpa: float, temperature_c: float) -> float:
    """Work out Z of a gas up to 1,100 kPa absolute, -5 to 40 °C."""
    reduced = kelvin(temperature_c) / gas.critical_k
    simple = 0.083 - 0.422 / reduced**1.6
    corrected = simple + gas.acentric * (0.139 - 0.172 / reduced**4.2)
    return float(1.0 + corrected * (pressure_kpa / gas.critical_kpa) / reduced)


def cylinder_z(gas: BlanketGas, pressure_kpa: float, temperature_c: float) -> float:
    """Work out Z of nitrogen or argon in a cylinder, to 32 MPa absolute, -25 to 60 °C. Raises OutOfRange."""
    tens = CYLINDER_PRESSURE_RANGE.checked(pressure_kpa) / 10_000.0
    colder = 293.15 / kelvin(CYLINDER_TEMPERATURE_RANGE.checked(temperature_c)) - 1.0
    return _fit(_FITTED[gas.name], tens, colder)


def carbon_dioxide_vapour_kpa(temperature_c: float) -> float | None:
    """Work out the vapour pressure of liquid carbon dioxide [kPa absolute]; None above 30.98 °C, where none is liquid.

    -25 to 60 °C. Raises OutOfRange.
    """
    at_k = kelvin(CYLINDER_TEMPERATURE_RANGE.checked(temperature_c))
    below = 1.0 - at_k / _CARBON_DIOXIDE.critical_k
    if below <= 0.0:
        return None
    total = sum(coefficient * below**power for power, coefficient in _VAPOUR)
    return _CARBON_DIOXIDE.critical_kpa * exp(_CARBON_DIOXIDE.critical_k / at_k * total)


def carbon_dioxide_z(pressure_kpa: float, temperature_c: float) -> float:
    """Work out Z of carbon dioxide as a gas, up to 0.935 of its vapour pressure, above 31 °C of its critical pressure,
    -25 to 60 °C. Raises OutOfRange for the temperature.
    """
    fives = pressure_kpa / 5000.0
    colder = 293.15 / kelvin(CYLINDER_TEMPERATURE_RANGE.checked(temperature_c)) - 1.0
    return _fit(_CARBON_DIOXIDE_GAS, fives, colder)


def _fit(rows: tuple[tuple[float, ...], ...], pressure: float, colder: float) -> float:
    return 1.0 + sum(pressure**i * sum(a * colder**j for j, a in enumerate(row)) for i, row in enumerate(rows, 1))
