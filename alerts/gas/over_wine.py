"""What the gas over wine meets: the wine's vapour, and the wine as a solvent.

Vapour pressure, p_v = p_water + p_ethanol [kPa], is subtracted before any step of the gas law:

    p_water = x_w 0.61094 exp(17.625 t / (t + 243.04))      x_w: mole fraction of water (Raoult); Alduchov and Eskridge
                                                            1996 (from memory; within 0.25 % of IAPWS, 0 to 30 °C)
    p_ethanol = c_e / H_e,  H_e = 1.9 mol/(m³ Pa) exp(6400 K (1/T - 1/298.15 K))    Sander 2023, entry of ethanol

Ethanol's part is known to about 20 %. Worked example: 12 % vol at 20 °C: 2.99 kPa.

Solubility, c/p in wine [mol/(L kPa)]:

    H = f H15 exp(b (1/T - 1/288.15 K))                     constants and sources in ``gases``

f stands for wine of 10 to 14 % vol. Worked example: nitrogen at 15 °C: 0.90 x 7.55e-6 = 6.80e-6 mol/(L kPa); a litre of
wine is worth 16.3 mL of gas space.
"""

from __future__ import annotations

__all__ = ["U_ETHANOL_SHARE", "gas_solubility", "oxygen_saturation_mg_l", "vapour_pressure_kpa"]

from functools import lru_cache
from math import exp
from typing import Final

from alerts.gas.gases import ATMOSPHERE_KPA, OXYGEN_G_MOL, BlanketGas, kelvin
from alerts.gas.wine_density import TEMPERATURE_RANGE, ethanol_mass_fraction, wine_density

_WATER_G_MOL: Final = 18.0153
_ETHANOL_G_MOL: Final = 46.068
# As the constants of ``BlanketGas``: mol/(L kPa) at 15 °C, K, wine over water.
_OXYGEN_SOLUBILITY_15C: Final = 1.519e-5
_OXYGEN_SLOPE_K: Final = 1650.0
_OXYGEN_WINE_FACTOR: Final = 0.90
# Standard uncertainty of ethanol's vapour pressure, as a share of it: half of what a group-contribution method differs
# (modified UNIFAC, Dortmund: 20 % more).
U_ETHANOL_SHARE: Final = 0.10


@lru_cache(maxsize=4096)
def vapour_pressure_kpa(alcohol_percent_vol: float, temperature_c: float, ethanol_share: float = 1.0) -> float:
    """Work out the vapour pressure over wine [kPa], 0 to 20 % vol, -5 to 40 °C. Raises OutOfRange.

    ethanol_share: a factor on ethanol's part, for its uncertainty.
    """
    fraction = ethanol_mass_fraction(alcohol_percent_vol)
    celsius = TEMPERATURE_RANGE.checked(temperature_c)
    water, ethanol = (1.0 - fraction) / _WATER_G_MOL, fraction / _ETHANOL_G_MOL
    water_kpa = water / (water + ethanol) * 0.61094 * exp(17.625 * celsius / (celsius + 243.04))
    mol_m3 = fraction * wine_density(alcohol_percent_vol, celsius) * 1000.0 / _ETHANOL_G_MOL
    henry = 1.9 * exp(6400.0 * (1.0 / kelvin(celsius) - 1.0 / 298.15))
    return water_kpa + ethanol_share * mol_m3 / henry / 1000.0


def oxygen_saturation_mg_l(o2_percent: float, temperature_c: float, dry_kpa: float = ATMOSPHERE_KPA) -> float:
    """Work out how much oxygen wine dissolves under a gas with so much of it [mg/L], -5 to 40 °C.

        c = H(t) x p_dry x 31.998 g/mol

    dry_kpa: absolute, vapour taken off. In water: fitted for leeside to IAPWS Guideline G7-04, as the blanket gases;
    the wine factor of 0.90 is from wines saturated with air. Raises OutOfRange.
    """
    inverse = 1.0 / kelvin(TEMPERATURE_RANGE.checked(temperature_c)) - 1.0 / 288.15
    solubility = _OXYGEN_WINE_FACTOR * _OXYGEN_SOLUBILITY_15C * exp(_OXYGEN_SLOPE_K * inverse)
    return 1000.0 * OXYGEN_G_MOL * solubility * o2_percent / 100.0 * dry_kpa


def gas_solubility(gas: BlanketGas, temperature_c: float, wine_factor: float | None = None) -> float:
    """Work out how much gas wine dissolves [mol/(L kPa)], -5 to 40 °C. Raises OutOfRange.

    wine_factor: wine over water, by default the gas's own. Below 0 °C the formula is continued without data.
    """
    factor = gas.wine_factor if wine_factor is None else wine_factor
    inverse = 1.0 / kelvin(TEMPERATURE_RANGE.checked(temperature_c)) - 1.0 / 288.15
    return factor * gas.solubility_15c * exp(gas.solubility_slope_k * inverse)
