"""What becomes of a room's air if gas empties into it: the worst case.

    O2 = 20.95 % (1 - v / V)      the stricter of the two usual forms: the gas drives out air, and none of it escapes
    CO2 = 100 % v / V             what is added; the air itself has 0.04 %

v: gas let out, V: volume of the room, both at the same condition; litres at 15 °C are near enough. In truth gas lies
where it came out, and carbon dioxide and cold argon on the floor, so a spot can be far worse than the mean.

Limits: below 19.5 % oxygen is deficient (29 CFR 1910.134 and 1910.146, EIGA Doc 44). Carbon dioxide: 0.5 % for eight
hours (29 CFR 1910.1000 table Z-1, from memory), 3 % for a short time (ACGIH, NIOSH), 4 % immediately dangerous
(NIOSH Pocket Guide, from memory).

Worked example: a 10 L cylinder of nitrogen at 15 MPa (1,426 L) in 14.4 m³ leaves 18.9 % oxygen.
"""

from __future__ import annotations

__all__ = ["ROOM_RANGE", "RoomAir", "co2_effect", "o2_effect", "room_air", "room_warnings"]

from dataclasses import dataclass
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.gas.gases import BlanketGas
from alerts.gas.purge import AIR_O2_PERCENT
from alerts.number_text import number_text

ROOM_RANGE: Final = AllowedRange("room", 0.1, 1e5, "m³", "rooms have")
_RELEASED_RANGE: Final = AllowedRange("released gas", 0.0, 1e8, "L", "releases go")
# Oxygen below which, and carbon dioxide from which nobody should be in a room [%].
_LOW_O2: Final = 19.5
_HIGH_CO2: Final = 0.5
# Oxygen [%] below which, and what it does (OSHA, by way of a health page; CSB Safety Bulletin 2003-10-B).
_O2_EFFECTS: Final = (
    (6.0, "convulsions and death within minutes; a breath or two of pure gas can drop a person"),
    (10.0, "nausea and collapse"),
    (14.0, "fatigue and poor judgement; do not go in"),
    (17.0, "impaired judgement and faster breathing; do not go in"),
    (_LOW_O2, "the air is deficient in oxygen (29 CFR 1910.146: 19.5 %)"),
)
# Carbon dioxide [%] from which, and what it is.
_CO2_LIMITS: Final = (
    (4.0, "immediately dangerous to life (NIOSH: 4 %)"),
    (3.0, "above the limit for a short time (ACGIH, NIOSH: 3 %)"),
    (_HIGH_CO2, "at or above the limit for eight hours (OSHA: 0.5 %)"),
)
# A share that is a limit but for rounding counts as one.
_ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True)
class RoomAir:
    """Mean oxygen and added carbon dioxide of a room's air [%]. overfilled: more gas came than it has air."""

    o2_percent: float
    co2_percent: float
    overfilled: bool

    @property
    def severity(self) -> float:
        """How near the air comes to where people must keep out: 1 at 19.5 % oxygen, or at 0.5 % carbon dioxide."""
        return max((AIR_O2_PERCENT - self.o2_percent) / (AIR_O2_PERCENT - _LOW_O2), self.co2_percent / _HIGH_CO2)


def room_air(room_m3: float, gas: BlanketGas, released_l: float) -> RoomAir:
    """Work out the worst case for a room of 0.1 to 100,000 m³ and up to 100,000 m³ of gas. Raises OutOfRange.

    Gas beyond the room's volume leaves no oxygen; its own share is then 100 %.
    """
    share = _RELEASED_RANGE.checked(released_l) / (1000.0 * ROOM_RANGE.checked(room_m3))
    overfilled = share > 1.0
    share = min(share, 1.0)
    return RoomAir(
        o2_percent=AIR_O2_PERCENT * (1.0 - share),
        co2_percent=100.0 * share if gas.name == "carbon dioxide" else 0.0,
        overfilled=overfilled,
    )


def o2_effect(o2_percent: float) -> str:
    """Say what so little oxygen does to people, "" from 19.5 % on."""
    return next((words for percent, words in _O2_EFFECTS if o2_percent < percent - _ROUNDING), "")


def co2_effect(co2_percent: float) -> str:
    """Say which limit so much carbon dioxide reaches, "" below 0.5 %."""
    return next((words for percent, words in _CO2_LIMITS if co2_percent >= percent - _ROUNDING), "")


def room_warnings(gas: BlanketGas, air: RoomAir) -> list[str]:
    """List what the air of a room gives reason to warn of: oxygen below 19.5 %, carbon dioxide from 0.5 %."""
    warnings = []
    if words := co2_effect(air.co2_percent):
        dangerous = "it is dangerous long before oxygen reads low"
        warnings.append(f"carbon dioxide {number_text(air.co2_percent, 2)} %: {words}; {dangerous}")
    if words := o2_effect(air.o2_percent):
        warnings.append(f"oxygen {number_text(air.o2_percent, 3)} %: {words}")
    if air.overfilled:
        warnings.append(f"there is more {gas.name} than the room has air")
    if warnings:
        warnings.append("keep everybody out, air the room from outside, and measure before going in")
    return warnings
