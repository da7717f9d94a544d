"""The formulas of the simulated cellar, each with its source.

Units throughout: pressure kPa, volume L, temperature °C (K inside formulas), amount mol, time s. With kPa and L the
gas constant is 8.314462618 kPa L/(mol K), and a solubility in mol/(m³ Pa) has the same number in mol/(L kPa). All
wine here has 12 % vol.
"""

from __future__ import annotations

__all__ = [
    "BORE_M2",
    "GAS_CONSTANT",
    "GLASS_EXPANSION",
    "STEEL_EXPANSION",
    "ZERO_C",
    "cylinder_moles",
    "cylinder_pressure_kpa",
    "fading",
    "leak_conductance",
    "nitrogen_in_wine",
    "station_pressure_kpa",
    "vapour_pressure_kpa",
    "wine_volume_ratio",
]

from math import exp, log, sqrt
from typing import Final

GAS_CONSTANT: Final = 8.314462618
"""kPa L/(mol K); CODATA 2018, exact."""

ZERO_C: Final = 273.15
"""0 °C in K; exact by definition."""

STEEL_EXPANSION: Final = 48e-6
"""Volume per K of austenitic stainless steel: three times the 16.0e-6 1/K of EN 10088-1."""

GLASS_EXPANSION: Final = 27e-6
"""Volume per K of soda-lime glass: three times about 9e-6 1/K; glass handbooks, from memory."""

BORE_M2: Final = 0.0346
"""Surface of the wine in a slim 19 L keg with a bore of 0.21 m [m²]; common practice, no source."""

_STRENGTH_MOL_L: Final = 0.12 * 789.24 / 46.068
"""Ethanol in wine of 12 % vol [mol/L]: 789.24 g/L is its density at 20 °C in OIML R 22, 46.068 g/mol its molar mass."""

# Density of ethanol and water at 12 % vol, kg/m³, computed from the formula of OIML R 22 (1975) at an ethanol mass
# fraction of 0.0964100. Only ratios of it are used: extract makes wine denser, but hardly changes how it expands.
_DENSITY_C: Final = (0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0)
_DENSITY_KG_M3: Final = (985.1580, 984.9506, 984.3910, 983.5159, 982.3548, 980.9339, 979.2778)


def _newton_coefficients(places: tuple[float, ...], values: tuple[float, ...]) -> tuple[float, ...]:
    """Compute the coefficients, in Newton's form, of the polynomial through all points: divided differences."""
    differences = list(values)
    for order in range(1, len(places)):
        for i in range(len(places) - 1, order - 1, -1):
            differences[i] = (differences[i] - differences[i - 1]) / (places[i] - places[i - order])
    return tuple(differences)


_RATIO = _newton_coefficients(_DENSITY_C, tuple(_DENSITY_KG_M3[4] / density for density in _DENSITY_KG_M3))


def wine_volume_ratio(wine_c: float) -> float:
    """Compute the volume of 12 % vol wine at a temperature over its volume at 20 °C: rho(20)/rho(t).

    wine_c: °C, 0 to 30 (ValueError outside). The densities of OIML R 22 (1975) at every 5 K, joined by the polynomial
    through all seven. Example: at 10 °C 982.3548/984.3910 = 0.997932.
    """
    if not 0.0 <= wine_c <= 30.0:
        raise ValueError(
            f"simulated wine at {wine_c:.2f} °C: its density is known from 0 to 30 °C; keep the room in that range"
        )
    c0, c1, c2, c3, c4, c5, c6 = _RATIO
    t = wine_c
    inner = c4 + (t - 20.0) * (c5 + (t - 25.0) * c6)
    return c0 + t * (c1 + (t - 5.0) * (c2 + (t - 10.0) * (c3 + (t - 15.0) * inner)))


def vapour_pressure_kpa(wine_c: float) -> float:
    """Compute the pressure of water and ethanol vapour over wine of 12 % vol [kPa].

    wine_c: °C, meant for 0 to 30. Water by Raoult, 0.96 x 0.61094 exp(17.625 t/(t + 243.04)) (Alduchov and Eskridge,
    J. Appl. Meteorol. 35, 601, 1996, from memory); ethanol by Henry's constant 1.9 mol/(m³ Pa), slope 6400 K, of
    Sander's compilation. The ethanol part is known to 20 %. Example: 2.99 kPa at 20 °C.
    """
    water = 0.96 * 0.61094 * exp(17.625 * wine_c / (wine_c + 243.04))
    ethanol = _STRENGTH_MOL_L / (1.9 * exp(6400.0 * (1.0 / (wine_c + ZERO_C) - 1.0 / 298.15)))
    return water + ethanol


def nitrogen_in_wine(wine_c: float) -> float:
    """Compute the solubility of nitrogen in wine [mol/(L kPa)].

    wine_c: °C, 0 to 30. H = 7.55e-6 exp(1440 K (1/T - 1/288.15 K)) mol/(m³ Pa) in water, a fit to IAPWS Guideline
    G7-04 that stays within 3 %; 0.90 (from 0.84 to 0.96) for wine, taken from oxygen, since the excess solubility in
    aqueous alcohols does not depend on which of argon, oxygen and nitrogen is dissolved (J. Chem. Eng. Data 39, 544,
    1994).
    """
    return 0.90 * 7.55e-6 * exp(1440.0 * (1.0 / (wine_c + ZERO_C) - 1.0 / 288.15))


def station_pressure_kpa(altitude_m: float) -> float:
    """Compute the mean air pressure at an altitude [kPa absolute].

    altitude_m: m above the sea, -500 to 11000 (ValueError outside). 101.325 (1 - 2.25577e-5 h)^5.25588, US Standard
    Atmosphere 1976. Example: 95.46 kPa at 500 m.
    """
    if not -500.0 <= altitude_m <= 11000.0:
        raise ValueError(f"altitude {altitude_m:g} m: the formula holds from -500 to 11000 m")
    return float(101.325 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


# Virial coefficients of nitrogen, from memory of Dymond and Smith, "The Virial Coefficients of Pure Gases and Mixtures"
# (1980): B = -10.3 cm³/mol at 0 °C rising by 0.235 per K, C = 1500 cm⁶/mol². A test compares the result with Span 2000.
_VIRIAL_B_L: Final = -0.0103
_VIRIAL_B_SLOPE_L: Final = 0.000235
_VIRIAL_C_L2: Final = 0.0015


def cylinder_pressure_kpa(moles: float, water_volume_l: float, gas_c: float) -> float:
    """Compute the absolute pressure in a nitrogen cylinder [kPa]: c R T (1 + B c + C c²) with c in mol/L.

    moles: mol; water_volume_l: L; gas_c: °C, 0 to 30. Within 0.5 % of the equation of Span (2000) up to 15 MPa.
    Example: 60.3 mol in 10 L at 20 °C have 15.0 MPa.
    """
    density = moles / water_volume_l
    virial = 1.0 + (_VIRIAL_B_L + _VIRIAL_B_SLOPE_L * gas_c) * density + _VIRIAL_C_L2 * density * density
    return density * GAS_CONSTANT * (gas_c + ZERO_C) * virial


def cylinder_moles(pressure_kpa: float, water_volume_l: float, gas_c: float) -> float:
    """Find the amount of nitrogen for an absolute pressure [mol]: ``cylinder_pressure_kpa`` inverted by bisection."""
    low, high = 0.0, 3.0 * pressure_kpa * water_volume_l / (GAS_CONSTANT * (gas_c + ZERO_C))
    for _ in range(60):
        middle = 0.5 * (low + high)
        if cylinder_pressure_kpa(middle, water_volume_l, gas_c) < pressure_kpa:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def leak_conductance(*, from_kpa: float, to_kpa: float, within_s: float, headspace_l: float, gas_c: float) -> float:
    """Compute the conductance at which a headspace falls from one gauge pressure to another in a time [mol/(s kPa)].

    With a flow proportional to the gauge pressure, n' = -G p, p falls as exp(-G R T t/V), so G = V ln(p1/p2)/(R T t).
    Both pressures are kPa gauge and above 0, from_kpa the higher one (ValueError otherwise). The proportional law is a
    choice of the simulation: real leaks are viscous or orifices (p² or choked), which changes the shape of the curve a
    little, but not its size. Example: 55 to 5 kPa in 25 s over 1.2 L at 15 °C takes 4.8e-5 mol/(s kPa).
    """
    if not 0.0 < to_kpa < from_kpa:
        raise ValueError(f"a leak from {from_kpa:g} to {to_kpa:g} kPa gauge: it must fall and end above 0")
    if within_s <= 0.0:
        raise ValueError(f"a leak within {within_s:g} s: the time must be above 0")
    return headspace_l * log(from_kpa / to_kpa) / (GAS_CONSTANT * (gas_c + ZERO_C) * within_s)


def fading(elapsed_s: float, time_constant_s: float, sd: float) -> tuple[float, float]:
    """Compute the share of the old value that is left and the sd of the random part, for a value around a mean.

    First-order autoregression in continuous time (Ornstein and Uhlenbeck, Phys. Rev. 36, 823, 1930): exp(-t/tau) and
    sd sqrt(1 - exp(-2t/tau)), exact for any step. elapsed_s and time_constant_s in s; sd in the unit of the value.
    """
    left = exp(-elapsed_s / time_constant_s)
    return left, sd * sqrt(1.0 - left * left)
