"""Alarms that stand, in a line each: for a message that says how things are after a flood or a gap."""

from __future__ import annotations

__all__ = ["standing_alarms", "standing_line"]

from collections.abc import Mapping
from datetime import tzinfo
from typing import Final

from alerts.message.subject import alarm_name
from alerts.view.format import limit_value_text, long_time
from alerts.view.gas.gas_alarm_name import gas_alarm_name
from alerts.watch.alarm_table import State
from alerts.watch.level import LevelTrack
from alerts.watch.watch_state import LimitRecord
from ingest.cellar import EffectiveLimit

_RANK: Final = {"high": 0, "medium": 1, "low": 2}
_WORST: Final = {"low": "lowest", "high": "highest", "rate": "largest"}
_STANDING: Final = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)


def standing_alarms(records: Mapping[str, LimitRecord], limits: Mapping[str, EffectiveLimit]) -> list[str]:
    """The keys of the limits whose alarm is active and announced, the most urgent first, then the oldest."""
    keys = [key for key, record in records.items() if record.alarm.state in _STANDING and key in limits]
    return sorted(keys, key=lambda key: (_RANK[limits[key].priority], records[key].alarm.since_ms or 0, key))


def standing_line(record: LimitRecord, limit: EffectiveLimit, zone: tzinfo) -> str:
    """Write one alarm with its newest value, its worst one, since when, and whether somebody has seen it."""
    track, alarm = record.track, record.alarm
    value = track.value if isinstance(track, LevelTrack) else None
    line = f"{limit.priority}: {alarm_name(limit, None)}"
    if gas_alarm_name(limit, value) is not None:
        line = f"{limit.priority}: {alarm_name(limit, value)}"
    elif value is not None and limit.kind != "due":
        line += f" (now {limit_value_text(value, limit)}"
        if isinstance(track, LevelTrack) and track.extreme is not None and track.extreme != value:
            line += f", {_WORST[limit.kind]} {limit_value_text(track.extreme, limit)}"
        line += ")"
    if alarm.since_ms is not None:
        line += f", since {long_time(alarm.since_ms, zone)}"
    seen = f"seen by {alarm.acknowledged_by}" if alarm.state is State.ACKNOWLEDGED else "not acknowledged"
    return f"{line}, {seen} ({alarm.occurrence})"
