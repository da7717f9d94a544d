"""Formulas of the simulated cellar for many kegs at once: arrays in, arrays out.

Units as in ``ingest.simulation.physics``: kPa, L, °C, mol, s. The gases are, in this order, nitrogen, argon, oxygen,
carbon dioxide.
"""

from __future__ import annotations

__all__ = ["AIR", "DIFFUSIVITY", "GASES", "Floats", "gas_in_wine", "vapour_kpa", "wine_ratio"]

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.simulation.physics import GAS_CONSTANT, ZERO_C, vapour_pressure_kpa, wine_volume_ratio

Floats = NDArray[np.float64]

GASES: Final = ("n2", "ar", "o2", "co2")

AIR: Final = np.array([0.7808, 0.0093, 0.2095, 0.0004])
"""Mole fractions in dry air (US Standard Atmosphere 1976, from memory)."""

DIFFUSIVITY: Final = np.array([1.2e-9, 1.55e-9, 1.4e-9, 1.15e-9])
"""In wine near 20 °C [m²/s]: of water at 25 °C (CRC Handbook: 2.0e-9, 2.5e-9, 2.42e-9, 1.91e-9) over a ratio of
viscosities of 1.6."""

# In water, mol/(L kPa) at 15 °C, and slope [K]: fits to IAPWS Guideline G7-04, within 3 % from 0 to 30 °C. In wine
# carbon dioxide is less soluble than the others: 0.85 of water's to their 0.90 (Zoecklein, Enology Notes 122, 2006).
_IN_WATER_15C: Final = np.array([7.55e-6, 1.664e-5, 1.519e-5, 4.42e-4 * 0.85 / 0.90])
_SLOPE_K: Final = np.array([1440.0, 1610.0, 1650.0, 2500.0])

# The scalar formulas on a grid of 0.05 K, between which straight lines are off by less than 1e-8 (volume) and 1e-5 kPa.
_GRID_C: Final = np.linspace(0.0, 30.0, 601)
_RATIO: Final = np.array([wine_volume_ratio(float(c)) for c in _GRID_C])
_VAPOUR: Final = np.array([vapour_pressure_kpa(float(c)) for c in _GRID_C])


def wine_ratio(wine_c: Floats) -> Floats:
    """Work out the volume of wine over that at 20 °C, 0 to 30 °C (ValueError outside)."""
    if not (wine_c.min() >= 0.0 and wine_c.max() <= 30.0):
        raise ValueError(
            f"simulated wine from {wine_c.min():.2f} to {wine_c.max():.2f} °C: its density is known from 0 to 30 °C; "
            "keep the room in that range"
        )
    return np.asarray(np.interp(wine_c, _GRID_C, _RATIO))


def vapour_kpa(wine_c: Floats) -> Floats:
    """Work out the pressure of water and ethanol vapour over wine [kPa], 0 to 30 °C."""
    return np.asarray(np.interp(wine_c, _GRID_C, _VAPOUR))


def gas_in_wine(wine_c: Floats, factor: Floats) -> Floats:
    """Work out the solubility of each gas in wine [mol/(L kPa)]; factor: of wine over water. Gases on the first
    axis."""
    above = 1.0 / (wine_c + ZERO_C) - 1.0 / 288.15
    shape = (len(GASES),) + (1,) * wine_c.ndim
    return np.asarray(factor * _IN_WATER_15C.reshape(shape) * np.exp(_SLOPE_K.reshape(shape) * above))


def kpa_l_per_mol(gas_c: Floats) -> Floats:
    """Work out R T [kPa L/mol]."""
    return GAS_CONSTANT * (gas_c + ZERO_C)
