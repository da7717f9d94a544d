"""A step of the alarm record: a line in plain words for people, an object in the standard's words for programs."""

from __future__ import annotations

__all__ = ["record_json", "record_line", "record_tail", "step_words"]

from collections.abc import Mapping
from datetime import tzinfo
from typing import Final

from alerts.view.alarms.alarm_lines import alarm_value
from alerts.view.format import days_text, duration_text, local_time
from alerts.watch.alarm_table import MUTING, AlarmEvent, State
from ingest.cellar import LIMIT_QUANTITIES, EffectiveLimit
from ingest.errors import Unreadable
from ingest.store.alarms.alarm_record import TransitionRow
from ingest.times import iso_utc, parse_rfc3339

_WORDS: Final[Mapping[str, str]] = {
    AlarmEvent.ACKNOWLEDGE: "seen",
    AlarmEvent.SHELVE: "muted",
    AlarmEvent.UNSHELVE: "mute ended",
    AlarmEvent.SHELVING_ENDED: "mute ended",
    AlarmEvent.SUPPRESS: "muted by design",
    AlarmEvent.RELEASE: "no longer muted",
    AlarmEvent.TAKE_OUT: "taken out of service",
    AlarmEvent.RETURN_TO_SERVICE: "returned to service",
    AlarmEvent.REMOVED: "limit removed",
    AlarmEvent.CALM: "calm again",
    # As earlier versions recorded the end of a suppression.
    "released, condition true": "no longer muted",
    "released, condition false": "no longer muted",
}
# Why an alarm stays muted, by the state that it is in.
_STILL: Final[Mapping[str, str]] = {
    State.SUPPRESSED: "by design",
    State.SHELVED: "by a person",
    State.OUT_OF_SERVICE: "out of service",
}

_ENDS: Final = (
    AlarmEvent.UNSHELVE,
    AlarmEvent.SHELVING_ENDED,
    AlarmEvent.RELEASE,
    AlarmEvent.RETURN_TO_SERVICE,
    "released, condition true",
)


def record_line(
    step: TransitionRow, limits: Mapping[str, EffectiveLimit], zone: tzinfo, units: str, now_ms: int
) -> str:
    """One step in one line: when, the alarm's id, the limit's key, what happened, value, who and why."""
    tail = record_tail(step, limits, zone, units, now_ms)
    return f"{local_time(step.at_ms, zone, now_ms)}  {step.occurrence or '-':5} {step.key}{tail}"


def record_tail(
    step: TransitionRow, limits: Mapping[str, EffectiveLimit], zone: tzinfo, units: str, now_ms: int
) -> str:
    """What stands behind the limit's key in that line: " 3.5 kPa: seen by Ana: on my way"."""
    value, who = _value(step, limits, units), f" by {step.who}" if step.who else ""
    words = f"{_what(step.event, step.to_state)}{who}{_consequence(step.event, step.to_state)}"
    note = step.note
    if step.event == AlarmEvent.SUPPRESS and note:
        words, note = step_words(step.event, step.to_state, note), ""
    elif step.event == AlarmEvent.SHELVE:
        until, _, note = step.note.removeprefix("until ").partition(": ")
        words = f"{words} until {_local(until, zone, now_ms)}"
    why = f": {note}" if note else ""
    finding = f" ({step.finding})" if step.finding else ""
    return f"{value}: {words}{why}{finding}"


def step_words(event: str, to_state: str, note: str = "") -> str:
    """Say what happened to an alarm, by the record's event and state after it, as people read it.

    note: why a limit is suppressed, such as "the vessel is empty": "muted while the vessel is empty".
    """
    if event == AlarmEvent.SUPPRESS and note:
        return f"muted while {note}"
    return f"{_what(event, to_state)}{_consequence(event, to_state)}"


def record_json(step: TransitionRow) -> dict[str, object]:
    """Give the same as an object."""
    return {
        "at": iso_utc(step.at_ms),
        "limit": step.key,
        "alarm": step.occurrence,
        "event": step.event,
        "from_state": step.from_state,
        "to_state": step.to_state,
        "value": step.value,
        "finding": step.finding or None,
        "who": step.who or None,
        "note": step.note or None,
    }


def _what(event: str, to_state: str) -> str:
    if event == AlarmEvent.BEGAN:
        return "would be an alarm, but is muted" if to_state in MUTING else "alarm raised"
    if event == AlarmEvent.ENDED:
        return "back to normal, muted" if to_state in MUTING else "back to normal"
    return _WORDS.get(event, event)


def _consequence(event: str, to_state: str) -> str:
    """What the end of one reason to be muted led to."""
    if event not in _ENDS:
        return ""
    if to_state == State.UNACKNOWLEDGED:
        return ", alarm raised"
    return f", still muted ({_STILL[to_state]})" if to_state in MUTING else ""


def _value(step: TransitionRow, limits: Mapping[str, EffectiveLimit], units: str) -> str:
    if step.value is None:
        return ""
    limit = limits.get(step.key)
    if limit is not None and limit.kind == "no data":
        return f" {duration_text(step.value)}"
    if limit is not None and limit.kind == "due":
        return f" {days_text(step.value)}"
    if limit is None or limit.quantity not in LIMIT_QUANTITIES:
        return f" {step.value:g}"
    return f" {alarm_value(limit, step.value, units)}"


def _local(moment: str, zone: tzinfo, now_ms: int) -> str:
    try:
        return local_time(parse_rfc3339(moment), zone, now_ms)
    except Unreadable:
        return moment
