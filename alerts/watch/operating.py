"""What a person asks for about an alarm, applied inside a turn."""

from __future__ import annotations

__all__ = ["operate"]

from alerts.watch.alarm import Cause
from alerts.watch.alarm_table import AlarmEvent, State
from alerts.watch.open_turn import OpenTurn
from ingest.operator_event import OperatorEvent


def operate(turn: OpenTurn, event: OperatorEvent) -> str:
    """Apply what a person asked for; the words for that person."""
    if event.kind != "acknowledge":
        return f"not done: '{event.kind}' is not something that this version can do; it can acknowledge"
    target = event.target.strip()
    key = _key_of(turn, target)
    if key is None:
        return _not_open(turn, target)
    alarm = turn.records[key].alarm
    cause = Cause(
        turn.now.utc_ms, turn.records[key].condition, by=event.who, asked_ms=event.written_ms, note=event.note
    )
    why = turn.apply(key, AlarmEvent.ACKNOWLEDGE, cause)
    if not why:
        return f"acknowledged: {alarm.occurrence} ({key})"
    if alarm.state is State.ACKNOWLEDGED:
        why += f" (by {alarm.acknowledged_by})"
    return f"nothing done: {alarm.occurrence} ({key}): {why}" if alarm.occurrence else f"nothing done: {key}: {why}"


def _key_of(turn: OpenTurn, target: str) -> str | None:
    if target in turn.records:
        return target
    wanted = target.lower()
    return next(
        (key for key, record in turn.records.items() if _same_id(record.alarm.occurrence, wanted)),
        None,
    )


def _not_open(turn: OpenTurn, target: str) -> str:
    wanted = target.lower()
    for key, record in turn.records.items():
        if _same_id(record.alarm.past_occurrence, wanted):
            return f"nothing done: {target} ({key}) is closed already"
    return (
        f"nothing done: no open alarm is called '{target}'; it may be closed already or misspelt. "
        "Give the short id of an open alarm or the key of its limit"
    )


def _same_id(occurrence: str | None, wanted: str) -> bool:
    return occurrence is not None and occurrence.lower() == wanted
