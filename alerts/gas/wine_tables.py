"""What a wine and its vessel do with temperature, as tables that arrays of temperatures are looked up in.

Linear between the steps of half a kelvin: volumes are right within 2e-6 of the wine's, vapour within 0.001 kPa and
solubility within 2e-5 of itself.
"""

from __future__ import annotations

__all__ = ["Floats", "WineTables", "wine_tables"]

from functools import lru_cache
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alerts.gas.blanket import Filling
from alerts.gas.gases import BlanketGas
from alerts.gas.over_wine import gas_solubility, vapour_pressure_kpa
from alerts.gas.vessel_walls import wall_expansion
from alerts.gas.wine_density import TEMPERATURE_RANGE, wine_density

Floats = NDArray[np.floating[Any]]

_STEP_C: Final = 0.5


class WineTables(NamedTuple):
    """What changes with temperature: headspace against 20 °C [L], vapour [kPa], solubility [mol/(L kPa)].

    growth_list, vapour_list: the same as plain numbers.
    """

    celsius: Floats
    growth_l: Floats
    vapour_kpa: Floats
    solubility: Floats
    growth_list: tuple[float, ...]
    vapour_list: tuple[float, ...]

    def growth_vapour(self, celsius: float) -> tuple[float, float]:
        """Look up growth [L] and vapour pressure [kPa] of one temperature, faster than by arrays."""
        place = (celsius - float(TEMPERATURE_RANGE.low)) / _STEP_C
        index = min(max(int(place), 0), len(self.growth_list) - 2)
        share = min(max(place - index, 0.0), 1.0)
        growth, vapour = self.growth_list, self.vapour_list
        return (
            growth[index] + share * (growth[index + 1] - growth[index]),
            vapour[index] + share * (vapour[index + 1] - vapour[index]),
        )

    def growth_at(self, celsius: Floats) -> Floats:
        """Look up by how much the headspace is larger than at 20 °C [L]: walls grow with warmth, and so does wine."""
        return np.interp(celsius, self.celsius, self.growth_l)

    def vapour_at(self, celsius: Floats) -> Floats:
        """Look up the vapour pressure [kPa]."""
        return np.interp(celsius, self.celsius, self.vapour_kpa)

    def solubility_at(self, celsius: Floats) -> Floats:
        """Look up the solubility of the blanket's gas [mol/(L kPa)]."""
        return np.interp(celsius, self.celsius, self.solubility)


@lru_cache(maxsize=1024)
def wine_tables(filling: Filling, gas: BlanketGas) -> WineTables:
    """Make the tables of a filling under a gas, -5 to 40 °C. Raises OutOfRange for what is outside its tables."""
    celsius = np.arange(TEMPERATURE_RANGE.low, TEMPERATURE_RANGE.high + 0.5 * _STEP_C, _STEP_C)
    strength = filling.alcohol_percent_vol
    at_20c = wine_density(strength, 20.0)
    wine = np.array([at_20c / wine_density(strength, float(each)) - 1.0 for each in celsius])
    walls = wall_expansion(filling.material) * (celsius - 20.0)
    growth = filling.capacity_l * walls - filling.wine_l * wine
    vapour = tuple(vapour_pressure_kpa(strength, float(each)) for each in celsius)
    solubility = np.array([gas_solubility(gas, float(each)) for each in celsius])
    return WineTables(celsius, growth, np.array(vapour), solubility, tuple(growth.tolist()), vapour)
