"""What is in a gas cylinder, by pressure and temperature.

    n = p V / (Z R T)             p absolute; Z by ``compressibility``; amounts, not pressures, are to be compared

Litres are at 15 °C and 101.325 kPa (ideal gas, 23.645 L/mol). Nitrogen and argon are gas in a cylinder, to 32 MPa.

Carbon dioxide is liquid in a cylinder below 31 °C: the gauge shows its vapour pressure, 5.73 MPa absolute at 20 °C,
until about a quarter of the filling is left. So a pressure shows the content only once all of it is gas; before that,
weigh the cylinder: net = gross - tare.

Worked example: 10 L at 15.0 MPa absolute and 20 °C hold 1426 L of nitrogen (60.3 mol, 1.69 kg).
"""

from __future__ import annotations

__all__ = ["RESERVE_KPA", "WATER_VOLUME_RANGE", "CylinderContent", "cylinder_content", "cylinder_warnings"]

from dataclasses import dataclass
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.gas.compressibility import (
    CYLINDER_TEMPERATURE_RANGE,
    carbon_dioxide_vapour_kpa,
    carbon_dioxide_z,
    cylinder_z,
)
from alerts.gas.gases import ATMOSPHERE_KPA, R_KPA_L_MOL_K, STANDARD_L_MOL, BlanketGas, kelvin

WATER_VOLUME_RANGE: Final = AllowedRange("water volume", 0.05, 1000.0, "L", "cylinders hold")
# The end of the table of compressibility, less the air.
_GAUGE_RANGE: Final = AllowedRange("pressure", 0.0, 31_850.0, "kPa", "a cylinder has")
# From this share of the vapour pressure on there may be liquid: a class 1.6 dial of 25 MPa is off by 0.4 MPa, and a
# cylinder by 2 °C from the room, which is 4 % of the pressure (a working default, no source).
_NEAR_VAPOUR: Final = 0.93
# Above this a cylinder is hot: it stands in the sun or near a heater (a working default, no source).
_HOT_C: Final = 50.0
# What is left in it so that the regulator keeps working (common practice, no source).
RESERVE_KPA: Final = 1000.0


@dataclass(frozen=True, slots=True)
class CylinderContent:
    """What a cylinder holds: litres at 15 °C and 101.325 kPa, kg and mol; None where the pressure does not show it.

    vapour_kpa: gauge pressure of liquid carbon dioxide at the temperature; None for other gases, and above 31 °C.
    """

    litres: float | None
    kg: float | None
    mol: float | None
    vapour_kpa: float | None = None


def cylinder_content(
    gas: BlanketGas, water_volume_l: float, pressure_kpa: float, temperature_c: float
) -> CylinderContent:
    """Work out what a cylinder holds, from its gauge pressure at sea level and its temperature.

    Water volume 0.05 to 1,000 L, 0 to 31,850 kPa, -25 to 60 °C. Raises OutOfRange.
    """
    volume_l = WATER_VOLUME_RANGE.checked(water_volume_l)
    absolute = _GAUGE_RANGE.checked(pressure_kpa) + ATMOSPHERE_KPA
    at_k = kelvin(CYLINDER_TEMPERATURE_RANGE.checked(temperature_c))
    if gas.name != "carbon dioxide":
        return _content(gas, absolute * volume_l / (cylinder_z(gas, absolute, temperature_c) * R_KPA_L_MOL_K * at_k))
    vapour = carbon_dioxide_vapour_kpa(temperature_c)
    # Above 31 °C nothing is liquid, but at pressures near the critical one the equation for the gas is not good enough.
    limit = gas.critical_kpa if vapour is None else vapour
    gauge = None if vapour is None else vapour - ATMOSPHERE_KPA
    if absolute >= _NEAR_VAPOUR * limit:
        return CylinderContent(None, None, None, gauge)
    mol = absolute * volume_l / (carbon_dioxide_z(absolute, temperature_c) * R_KPA_L_MOL_K * at_k)
    return _content(gas, mol, gauge)


def cylinder_warnings(
    gas: BlanketGas, content: CylinderContent, pressure_kpa: float, temperature_c: float
) -> list[str]:
    """List what a cylinder's pressure [kPa gauge] and temperature give reason to warn of."""
    warnings = []
    if gas.name == "carbon dioxide":
        if content.mol is None and content.vapour_kpa is None:
            warnings.append(
                "the pressure of a carbon dioxide cylinder does not show its content: above 31 °C nothing in it is "
                "liquid, and the gas is too dense for its equation here; weigh it, net = gross - tare"
            )
        elif content.mol is None:
            warnings.append(
                f"the pressure of a carbon dioxide cylinder does not show its content: liquid in it keeps it at "
                f"{content.vapour_kpa:.0f} kPa at {temperature_c:g} °C until about a quarter of the filling is left; "
                "weigh it, net = gross - tare"
            )
        else:
            warnings.append(
                "the pressure shows the content of a carbon dioxide cylinder only once no liquid is left in it; if "
                "it is colder than given, there may be far more in it: weigh it to be sure"
            )
        if content.mol is None and content.vapour_kpa is not None and pressure_kpa > 1.1 * content.vapour_kpa:
            warnings.append(
                f"{pressure_kpa:g} kPa is well above the vapour pressure at {temperature_c:g} °C: either it is warmer, "
                "or the cylinder is overfilled and full of liquid, which is dangerous"
            )
    elif pressure_kpa < RESERVE_KPA:
        warnings.append(
            f"below {RESERVE_KPA:g} kPa the regulator may no longer hold its pressure: have another at hand"
        )
    if temperature_c > _HOT_C:
        warnings.append(f"{temperature_c:g} °C is hot for a cylinder: move it out of the sun and away from heaters")
    return warnings


def _content(gas: BlanketGas, mol: float, vapour_kpa: float | None = None) -> CylinderContent:
    return CylinderContent(mol * STANDARD_L_MOL, mol / gas.mol_per_kg, mol, vapour_kpa)
