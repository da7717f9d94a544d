"""What a cylinder's content and a room's air give reason to warn of."""

from __future__ import annotations

__all__ = ["cylinder_warnings", "room_warnings"]

from typing import Final

from alerts.gas.cylinder import CylinderContent
from alerts.gas.gases import BlanketGas
from alerts.gas.room import RoomAir

# Oxygen [%] below which, and what it does (OSHA, by way of a health page; CSB Safety Bulletin 2003-10-B).
_O2_EFFECTS: Final = (
    (6.0, "convulsions and death within minutes; a breath or two of pure gas can drop a person"),
    (10.0, "nausea and collapse"),
    (14.0, "fatigue and poor judgement; do not go in"),
    (17.0, "impaired judgement and faster breathing; do not go in"),
    (19.5, "the air is deficient in oxygen (29 CFR 1910.146: 19.5 %)"),
)
# Carbon dioxide [%] from which, and what it is.
_CO2_LIMITS: Final = (
    (4.0, "immediately dangerous to life (NIOSH: 4 %)"),
    (3.0, "above the limit for a short time (ACGIH, NIOSH: 3 %)"),
    (0.5, "at or above the limit for eight hours (OSHA: 0.5 %)"),
)
_ROUNDING: Final = 1e-9
# Above this a cylinder is hot: it stands in the sun or near a heater (a working default, no source).
_HOT_C: Final = 50.0
# What is left in it so that the regulator keeps working (common practice, no source).
_RESERVE_KPA: Final = 1000.0


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
    elif pressure_kpa < _RESERVE_KPA:
        warnings.append(
            f"below {_RESERVE_KPA:g} kPa the regulator may no longer hold its pressure: have another at hand"
        )
    if temperature_c > _HOT_C:
        warnings.append(f"{temperature_c:g} °C is hot for a cylinder: move it out of the sun and away from heaters")
    return warnings


def room_warnings(gas: BlanketGas, air: RoomAir) -> list[str]:
    """List what the air of a room gives reason to warn of: oxygen below 19.5 %, carbon dioxide from 0.5 %."""
    warnings = []
    for percent, words in _CO2_LIMITS:
        if air.co2_percent >= percent - _ROUNDING:
            warnings.append(
                f"carbon dioxide {air.co2_percent:.2g} %: {words}; it is dangerous long before oxygen reads low"
            )
            break
    for percent, words in _O2_EFFECTS:
        if air.o2_percent < percent - _ROUNDING:
            warnings.append(f"oxygen {air.o2_percent:.3g} %: {words}")
            break
    if air.overfilled:
        warnings.append(f"there is more {gas.name} than the room has air")
    if warnings:
        warnings.append("keep everybody out, air the room from outside, and measure before going in")
    return warnings
