"""What a person asks for about an alarm, applied inside a turn; and the end of what was asked for a time."""

from __future__ import annotations

__all__ = ["end_shelvings", "operate"]

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

from alerts.watch.alarm import Cause
from alerts.watch.alarm_table import AlarmEvent, State
from alerts.watch.open_turn import OpenTurn
from alerts.watch.shelving import OutOfService, Shelving, out_of_service_problem, shelving_problem
from alerts.watch.watch_state import LimitRecord
from ingest.cellar import EffectiveLimit
from ingest.operator_event import OperatorEvent, OperatorEventKind
from ingest.times import iso_utc

Limits = Mapping[str, EffectiveLimit]

# Why an alarm is still muted, for people.
_STILL: Final = {
    State.OUT_OF_SERVICE: "it is out of service",
    State.SHELVED: "it is muted for a time",
    State.SUPPRESSED: "it is suppressed by design",
}


def operate(turn: OpenTurn, event: OperatorEvent, limits: Limits) -> str:
    """Apply what a person asked for; the words for that person. limits: those of the cellar file, by key."""
    action = _ACTIONS.get(event.kind)
    if action is None:
        known = ", ".join(OperatorEventKind)
        return f"not done: '{event.kind}' is not something that this version can do; it can: {known}"
    return action(turn, event, limits)


def end_shelvings(turn: OpenTurn) -> None:
    """End what was shelved for a time that is over now."""
    now = turn.now
    for key in sorted(turn.agenda.shelved):
        record = turn.records[key]
        shelving = record.alarm.shelving
        if shelving is None:
            continue
        kept = shelving.anchored(now.utc_ms, now.mono).shown_by(now.utc_ms, now.mono)
        if kept is not shelving:
            turn.put(key, replace(record, alarm=replace(record.alarm, shelving=kept)))
        if kept.is_over(now.mono):
            note = f"shelved by {kept.by}: {kept.why}"
            turn.apply(key, AlarmEvent.SHELVING_ENDED, Cause(now.utc_ms, record.condition, note=note))


def _acknowledge(turn: OpenTurn, event: OperatorEvent, limits: Limits) -> str:
    target = event.target.strip()
    key = _key_of(turn, target)
    if key is None:
        return _not_open(turn, target)
    alarm = turn.records[key].alarm
    why = turn.apply(key, AlarmEvent.ACKNOWLEDGE, _cause(turn, key, event))
    if not why:
        return f"acknowledged: {alarm.occurrence} ({key})"
    if alarm.state is State.ACKNOWLEDGED:
        why += f" (by {alarm.acknowledged_by})"
    return f"nothing done: {alarm.occurrence} ({key}): {why}" if alarm.occurrence else f"nothing done: {key}: {why}"


def _acknowledge_all(turn: OpenTurn, event: OperatorEvent, limits: Limits) -> str:
    names = [
        f"{record.alarm.occurrence} ({key})"
        for key, record in list(turn.records.items())
        if record.alarm.state in (State.UNACKNOWLEDGED, State.RETURNED)
        and not turn.apply(key, AlarmEvent.ACKNOWLEDGE, _cause(turn, key, event))
    ]
    return f"acknowledged: {', '.join(names)}" if names else "nothing done: no alarm waits to be acknowledged"


def _shelve(turn: OpenTurn, event: OperatorEvent, limits: Limits) -> str:
    key, problem = _limit_of(turn, event, limits)
    if problem:
        return problem
    asked_s = event.span_s or 0.0
    # What was asked while leeside did not run has been running since.
    left_s = asked_s - max(turn.now.utc_ms - event.written_ms, 0) / 1000
    limit, why = limits[key], event.note
    problem = shelving_problem(limit, limits, asked_s, why) or shelving_problem(limit, limits, left_s, why)
    if problem:
        return f"nothing done: {key}: {problem}"
    until_ms = turn.now.utc_ms + round(left_s * 1000)
    shelving = Shelving(event.who, turn.now.utc_ms, event.note, left_s, until_ms, turn.now.mono + left_s)
    cause = replace(_cause(turn, key, event), note=f"until {iso_utc(until_ms)}: {event.note}", shelving=shelving)
    refused = turn.apply(key, AlarmEvent.SHELVE, cause)
    return f"nothing done: {key}: {refused}" if refused else f"muted: {key}"


def _take_out(turn: OpenTurn, event: OperatorEvent, limits: Limits) -> str:
    key, problem = _limit_of(turn, event, limits)
    if problem:
        return problem
    problem = out_of_service_problem(limits[key], limits, event.note)
    if problem:
        return f"nothing done: {key}: {problem}"
    out = OutOfService(event.who, turn.now.utc_ms, event.note)
    why = turn.apply(key, AlarmEvent.TAKE_OUT, replace(_cause(turn, key, event), out_of_service=out))
    return f"nothing done: {key}: {why}" if why else f"out of service: {key}"


def _unshelve(turn: OpenTurn, event: OperatorEvent, limits: Limits) -> str:
    return _end_mute(turn, event, limits, AlarmEvent.UNSHELVE)


def _return_to_service(turn: OpenTurn, event: OperatorEvent, limits: Limits) -> str:
    return _end_mute(turn, event, limits, AlarmEvent.RETURN_TO_SERVICE)


_ACTIONS: Final[Mapping[str, Callable[[OpenTurn, OperatorEvent, Limits], str]]] = {
    OperatorEventKind.ACKNOWLEDGE: _acknowledge,
    OperatorEventKind.ACKNOWLEDGE_ALL: _acknowledge_all,
    OperatorEventKind.SHELVE: _shelve,
    OperatorEventKind.UNSHELVE: _unshelve,
    OperatorEventKind.TAKE_OUT_OF_SERVICE: _take_out,
    OperatorEventKind.RETURN_TO_SERVICE: _return_to_service,
}


def _end_mute(turn: OpenTurn, event: OperatorEvent, limits: Limits, what: AlarmEvent) -> str:
    key, problem = _limit_of(turn, event, limits)
    if problem:
        return problem
    why = turn.apply(key, what, _cause(turn, key, event))
    if why:
        return f"nothing done: {key}: {why}"
    still = turn.records[key].alarm.state
    return f"watched again: {key}" + (f", but not announced yet: {_STILL[still]}" if still in _STILL else "")


def _cause(turn: OpenTurn, key: str, event: OperatorEvent) -> Cause:
    return Cause(turn.now.utc_ms, turn.records[key].condition, by=event.who, asked_ms=event.written_ms, note=event.note)


def _limit_of(turn: OpenTurn, event: OperatorEvent, limits: Limits) -> tuple[str, str]:
    """The key of the limit that a person means, and the words where there is none. Also a closed alarm names it."""
    target = event.target.strip()
    key = _key_of(turn, target) or _closed_key_of(turn, target)
    if key is None and target in limits:
        key = target  # it has just come into the cellar file
        turn.put(key, LimitRecord.fresh(limits[key], turn.now.mono))
    if key is None:
        return "", _not_open(turn, target)
    if key not in limits:
        return "", f"nothing done: the limit {key} is no longer in the cellar file"
    return key, ""


def _key_of(turn: OpenTurn, target: str) -> str | None:
    if target in turn.records:
        return target
    wanted = target.lower()
    return next(
        (key for key, record in turn.records.items() if _same_id(record.alarm.occurrence, wanted)),
        None,
    )


def _closed_key_of(turn: OpenTurn, target: str) -> str | None:
    wanted = target.lower()
    return next(
        (key for key, record in turn.records.items() if _same_id(record.alarm.past_occurrence, wanted)),
        None,
    )


def _not_open(turn: OpenTurn, target: str) -> str:
    key = _closed_key_of(turn, target)
    if key is not None:
        return f"nothing done: {target} ({key}) is closed already"
    return (
        f"nothing done: no open alarm is called '{target}'; it may be closed already or misspelt. "
        "Give the short id of an open alarm or the key of its limit"
    )


def _same_id(occurrence: str | None, wanted: str) -> bool:
    return occurrence is not None and occurrence.lower() == wanted
