"""What the alarm record says of the alarms that a message is about, as it was when the message was written."""

from __future__ import annotations

__all__ = ["AlarmOf", "alarms_of"]

from collections.abc import Callable
from typing import NamedTuple

from ingest.store import Store
from ingest.store.alarms.alarm_record import transitions
from ingest.store.alarms.messages import MessageRow


class AlarmOf(NamedTuple):
    """limit: its key; state: an alarm state's name; value: in our unit of the limit's quantity, None where there is
    none; unit: that unit, ""; at_ms: of the step, UTC ms.
    """

    occurrence: str
    limit: str
    state: str
    value: float | None
    unit: str
    at_ms: int


def alarms_of(store: Store, message: MessageRow, unit_of: Callable[[str], str]) -> list[AlarmOf]:
    """Read the last step of each occurrence of a message before it was written. unit_of: by the key of a limit."""
    alarms = []
    for occurrence in (message.occurrence or "").split():
        steps = [step for step in transitions(store, occurrence=occurrence) if step.at_ms <= message.created_ms]
        if steps:
            last = steps[-1]
            unit = "" if last.value is None else unit_of(last.key)
            alarms.append(AlarmOf(occurrence, last.key, last.to_state, last.value, unit, last.at_ms))
    return alarms
