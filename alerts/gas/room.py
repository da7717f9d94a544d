"""What becomes of a room's air if gas empties into it: the worst case.

    O2 = 20.95 % (1 - v / V)      the stricter of the two usual forms: the gas drives out air, and none of it escapes
    CO2 = 100 % v / V             what is added; the air itself has 0.04 %

v: gas let out, V: volume of the room, both at the same condition; litres at 15 °C are near enough. In truth gas lies
where it came out, and carbon dioxide and cold argon on the floor, so a spot can be far worse than the mean.

Limits: below 19.5 % oxygen is deficient (29 CFR 1910.134 and 1910.146, EIGA Doc 44). Carbon dioxide: 0.5 % for eight
hours (29 CFR 1910.1000 table Z-1, from memory), 3 % for a short time (ACGIH, NIOSH), 4 % immediately dangerous (NIOSH).

Worked example: a 10 L cylinder of nitrogen at 15 MPa (1,426 L) in 14.4 m³ leaves 18.9 % oxygen.
"""

from __future__ import annotations

__all__ = ["RoomAir", "room_air"]

from dataclasses import dataclass
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.gas.gases import BlanketGas
from alerts.gas.purge import AIR_O2_PERCENT

_ROOM_RANGE: Final = AllowedRange("room", 0.1, 1e5, "m³", "rooms have")
_RELEASED_RANGE: Final = AllowedRange("released gas", 0.0, 1e8, "L", "releases go")


@dataclass(frozen=True, slots=True)
class RoomAir:
    """Mean oxygen and added carbon dioxide of a room's air [%]. overfilled: more gas came than it has air."""

    o2_percent: float
    co2_percent: float
    overfilled: bool


def room_air(room_m3: float, gas: BlanketGas, released_l: float) -> RoomAir:
    """Work out the worst case for a room of 0.1 to 100,000 m³ and up to 100,000 m³ of gas. Raises OutOfRange.

    Gas beyond the room's volume leaves no oxygen; its own share is then 100 %.
    """
    share = _RELEASED_RANGE.checked(released_l) / (1000.0 * _ROOM_RANGE.checked(room_m3))
    overfilled = share > 1.0
    share = min(share, 1.0)
    return RoomAir(
        o2_percent=AIR_O2_PERCENT * (1.0 - share),
        co2_percent=100.0 * share if gas.name == "carbon dioxide" else 0.0,
        overfilled=overfilled,
    )
