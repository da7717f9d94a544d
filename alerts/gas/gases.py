"""The three blanket gases: constants, and the standard condition that volumes of gas are counted in.

Amounts are kept in mol; a volume of gas means nothing without its condition. Here it is 15 °C and 101.325 kPa (ISO
13443, the gas trade in Europe), by the ideal gas: 23.645 L/mol.

Units: temperatures in °C, pressures in kPa absolute unless a name says otherwise, volumes in L. A solubility in
mol/(m³ Pa) has the same number in mol/(L kPa).
"""

from __future__ import annotations

__all__ = [
    "ASSUMED_C",
    "ATMOSPHERE_KPA",
    "GASES",
    "OXYGEN_G_MOL",
    "R_KPA_L_MOL_K",
    "STANDARD_L_MOL",
    "BlanketGas",
    "blanket_gas",
    "kelvin",
    "standard_l",
]

from dataclasses import dataclass
from typing import Final

from alerts.errors import OutOfRange

# CODATA 2018, exact to the digits shown; kPa L/(mol K) is J/(mol K).
R_KPA_L_MOL_K: Final = 8.314462618
ATMOSPHERE_KPA: Final = 101.325
_ZERO_C_K: Final = 273.15
_STANDARD_C: Final = 15.0
# What counts as a cellar's temperature [°C] where nobody measured it (a working default, no source).
ASSUMED_C: Final = 15.0
# L/mol at 15 °C and 101.325 kPa: 23.645.
STANDARD_L_MOL: Final = R_KPA_L_MOL_K * (_ZERO_C_K + _STANDARD_C) / ATMOSPHERE_KPA
# IUPAC standard atomic weights (from memory).
OXYGEN_G_MOL: Final = 31.998


@dataclass(frozen=True, slots=True)
class BlanketGas:
    """What arithmetic needs to know of a gas.

    solubility_15c: c/p in water at 15 °C [mol/(m³ Pa)]; solubility_slope_k: its temperature slope b [K]. Both were
    fitted for leeside to IAPWS Guideline G7-04: within 1.3 % from 5 to 25 °C, 3 % from 0 to 30 °C, 7 % at 40 °C.
    wine_factor, u_wine_factor: solubility in wine over that in water, with its standard uncertainty. Nitrogen and argon
    are taken equal to oxygen, since the excess solubility in aqueous alcohol does not depend on which of the three is
    dissolved (J. Chem. Eng. Data 39:544, 1994, abstract); for oxygen the factor is from wines saturated with air (0.82
    to 0.95). Carbon dioxide: 2.9 g/L at 0 °C and 1.4 g/L at 20 °C under 1 atm in wine of 11 % vol (Zoecklein, Enology
    Notes 122, 2006). The published spread is taken as two standard uncertainties.
    critical_k, critical_kpa, acentric: of the reference equations of state (Span et al. 2000, Tegeler et al. 1999,
    Span and Wagner 1996).
    """

    name: str
    formula: str
    molar_mass_g_mol: float
    solubility_15c: float
    solubility_slope_k: float
    wine_factor: float
    u_wine_factor: float
    critical_k: float
    critical_kpa: float
    acentric: float

    @property
    def mol_per_kg(self) -> float:
        """Amount of substance of a kilogram [mol/kg]."""
        return 1000.0 / self.molar_mass_g_mol


_ALL: Final = (
    BlanketGas("nitrogen", "N2", 28.0134, 7.55e-6, 1440.0, 0.90, 0.03, 126.192, 3395.8, 0.0372),
    BlanketGas("argon", "Ar", 39.948, 1.664e-5, 1610.0, 0.90, 0.03, 150.687, 4863.0, -0.00219),
    BlanketGas("carbon dioxide", "CO2", 44.0095, 4.42e-4, 2500.0, 0.85, 0.02, 304.1282, 7377.3, 0.22394),
)
# By the name that the cellar file uses.
GASES: Final = {gas.name: gas for gas in _ALL}
_BY_WORD: Final = {word.casefold(): gas for gas in _ALL for word in (gas.name, gas.formula)}


def blanket_gas(text: str) -> BlanketGas:
    """Find a gas by name or chemical formula, such as "carbon dioxide" or "CO2". Raises OutOfRange."""
    gas = _BY_WORD.get(" ".join(text.replace("-", " ").replace("_", " ").casefold().split()))
    if gas is None:
        raise OutOfRange("gas", f"there is no gas '{text}'; allowed: {', '.join(GASES)}")
    return gas


def kelvin(temperature_c: float) -> float:
    """Give a temperature in K."""
    return temperature_c + _ZERO_C_K


def standard_l(volume_l: float, pressure_kpa: float, temperature_c: float) -> float:
    """Work out the litres at 15 °C and 101.325 kPa of a volume of ideal gas at an absolute pressure and temperature."""
    return volume_l * pressure_kpa / ATMOSPHERE_KPA * kelvin(_STANDARD_C) / kelvin(temperature_c)
