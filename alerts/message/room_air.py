"""What a message about gas says of the room's air: the worst case, in one paragraph."""

from __future__ import annotations

__all__ = ["air_paragraph", "is_about_gas"]

from typing import Final

from alerts.gas.stock import RoomGas
from alerts.message.cautions import GOING_IN, caution_of
from alerts.message.wording import CellarView
from alerts.view.gas.room_air_lines import room_air_text
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import Occasion, State
from ingest.cellar import EffectiveLimit

_STANDING: Final = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)


def is_about_gas(transition: Transition, limit: EffectiveLimit | None, view: CellarView) -> bool:
    """Whether the message is about gas that escapes, or may: those that carry a caution, while they stand."""
    return (
        limit is not None
        and transition.occasion is not Occasion.REMOVED
        and transition.to_state in _STANDING
        and caution_of(limit, view.place_kind, glass=view.glass, under_gas=view.under_gas) != ""
    )


def air_paragraph(gas: RoomGas | None, view: CellarView) -> str:
    """Write the paragraph; "" where no gas is kept at the place. gas: what can empty into its room."""
    if gas is None:
        return ""
    text = room_air_text(gas, view.place)
    # A person can get into a tank, and those who went in died of it.
    return f"{text}\n{GOING_IN}" if view.place_kind == "tank" else text
