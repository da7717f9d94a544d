"""The default limits on a gas cylinder: *care* while there is time to fetch another one, *soon* when it is nearly over.

Both are on the days that its content lasts at the least. The numbers are this project's choice: a week covers a weekend
and a holiday of the dealer.
"""

from __future__ import annotations

__all__ = ["cylinder_limits"]

from collections.abc import Iterator
from typing import Final

from ingest.cellar.equipment import Cylinder
from ingest.cellar.limits import USUAL, EffectiveLimit, Hours, Role
from ingest.cellar.quantities import judged_id

_QUANTITY: Final = "cylinder_days_left"
_FETCH_D: Final = 7.0
_NEARLY_OVER_D: Final = 1.0
# A leak that goes on may look uneven for one judgement or two.
_OFF_DELAY_S: Final = 1800.0

_RUNS_OUT: Final = "When it is empty, nothing replaces the gas that the vessels lose, and air can reach the wine."
_FETCH: Final = (
    "Fetch another cylinder in time. If more gas goes than you draw, shut its valve and look for a leak at regulator, "
    "lines and posts with soapy water. Air the room before you go in; chain every cylinder upright, full or empty, and "
    "carry none without its cap."
)
_SHUT: Final = (
    "Air the room before you go in: a cylinder that empties fast may have emptied into it. Then shut its valve and "
    "look for a leak at regulator, lines and posts with soapy water. If there is none, change the cylinder, and chain "
    "the new one upright."
)


def cylinder_limits(cylinder: Cylinder) -> Iterator[EffectiveLimit]:
    """Limit the days that a cylinder lasts: *care* in waking hours, *soon* at any hour, since leaks empty it fast."""
    yield _limit(cylinder.id, "care", _FETCH_D, _FETCH, "waking")
    yield _limit(cylinder.id, "soon", _NEARLY_OVER_D, _SHUT, "any")


def _limit(at: str, role: Role, setpoint_d: float, action: str, hours: Hours) -> EffectiveLimit:
    usual = USUAL[_QUANTITY]
    return EffectiveLimit(
        key=f"{at}/{_QUANTITY}/{role}",
        kind="low",
        at=at,
        quantity=_QUANTITY,
        probe=judged_id(at, _QUANTITY),
        setpoint=setpoint_d,
        deadband=min(usual.deadband, setpoint_d / 2.0),
        on_delay_s=usual.on_delay_s,
        off_delay_s=_OFF_DELAY_S,
        priority="medium",
        hours=hours,
        consequence=_RUNS_OUT,
        action=action,
        unit_text="d",
        role=role,
        origin="default",
    )
