"""Which vessels show each other the weather: all vented gauges of a cellar without a barometer see the same air. Pure.

Vessels that may be joined by an open gas line lose gas together, and that would look like weather. Joined vessels have
the same pressure, so those of one line show each other nothing while their gauges read nearly the same.
"""

from __future__ import annotations

__all__ = ["share_air"]

from collections.abc import Mapping, Sequence
from typing import Final

from alerts.blanket.followed_vessel import FollowedVessel

# Vessels that are joined read the same within this [kPa] (two transmitters of 0.5 % of 200 kPa; from memory).
_JOINED_KPA: Final = 2.0
# So many of the best show it to all; a vessel hears no more than so many of them.
_BEST: Final = 16
_HEARD: Final = 8


def share_air(vessels: Sequence[FollowedVessel], line_of: Mapping[str, str]) -> None:
    """Let vessels hear what others show of the weather. line_of: the gas line of each vessel that is on one."""
    showing = [(noise_kpa, vessel) for vessel in vessels if (noise_kpa := vessel.shows_air_to_kpa) is not None]
    showing.sort(key=lambda pair: pair[0])
    witnesses = [(vessel, witness) for _, vessel in showing[:_BEST] if (witness := vessel.air_witness()) is not None]
    for vessel in vessels:
        others = [witness for other, witness in witnesses if not _may_be_joined(vessel, other, line_of)]
        vessel.hear(others[:_HEARD])


def _may_be_joined(vessel: FollowedVessel, other: FollowedVessel, line_of: Mapping[str, str]) -> bool:
    """Whether two vessels may lose gas together, or are the same."""
    if vessel is other:
        return True
    line = line_of.get(vessel.setting.vessel.id)
    if line is None or line != line_of.get(other.setting.vessel.id):
        return False
    mine, its = vessel.pressure_kpa, other.pressure_kpa
    return mine is None or its is None or abs(mine - its) < _JOINED_KPA
