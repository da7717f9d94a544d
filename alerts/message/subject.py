"""The subject of a message about an alarm's step.

It is leading words, a colon, and a tail that names the alarm. The tail stays the same in all messages of a thread, for
mail readers that thread by subject; what changes (priority, all-clear, the present value) stands before it.
"""

from __future__ import annotations

__all__ = [
    "CAME_AND_WENT",
    "PRIORITY_WORDS",
    "SUBJECT_LIMIT",
    "alarm_name",
    "is_beyond",
    "shortened",
    "subject_of",
    "tail_of",
]

from typing import Final

from alerts.view.due_lines import due_name
from alerts.view.format import duration_text, limit_value_text, measured_name, missing_words, setpoint_text, side
from alerts.view.gas.gas_alarm_name import gas_alarm_name
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import Occasion, State
from alerts.watch.applied_limits import LEFT_NOTE
from alerts.watch.own_limits import own_words
from ingest.cellar import EffectiveLimit

# RFC 5322 section 2.1.1: a line should have no more than 78 characters.
SUBJECT_LIMIT: Final = 78

PRIORITY_WORDS: Final = {"high": "HIGH PRIORITY", "medium": "MEDIUM PRIORITY", "low": "LOW PRIORITY"}
CAME_AND_WENT: Final = "CAME AND WENT"
_RETURNED_WORDS: Final = "BACK TO NORMAL"
_BETTER_WORDS: Final = "IMPROVED"
_ENDED_WORDS: Final = "ENDED"
_CALM_WORDS: Final = "CALM AGAIN after"
_REMOVED_WORDS: Final = "LIMIT REMOVED"
_LEFT_WORDS: Final = "WINE HAS LEFT after"
_IS_DUE: Final = " is due"
_TAIL_LIMIT: Final = SUBJECT_LIMIT - len(f"{_RETURNED_WORDS} after: ")


def subject_of(
    transition: Transition, limit: EffectiveLimit | None, thread_subject: str | None = None, *, beyond: bool = False
) -> str:
    """Write the subject of a message about a transition that is announced, at most 78 characters.

    limit: None where it is no longer in the cellar file; thread_subject: the subject under which the occurrence was
    raised, where one went out: its tail is kept; beyond: the value is beyond another limit, so it is not normal.
    """
    tail = tail_of(thread_subject) if thread_subject else _tail(transition, limit)
    if limit is None or transition.occasion is Occasion.REMOVED:
        return f"{_LEFT_WORDS if transition.note == LEFT_NOTE else _REMOVED_WORDS}: {tail}"
    active = transition.to_state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)
    if transition.occasion is Occasion.RAISED:
        return f"{PRIORITY_WORDS[limit.priority]}: {tail}"
    if transition.occasion is Occasion.CHATTERING:
        return f"{PRIORITY_WORDS[limit.priority]}: {_restless_tail(limit)}"
    if transition.occasion is Occasion.CALM:
        return f"{PRIORITY_WORDS[limit.priority]}: {_tail(transition, limit)}" if active else f"{_CALM_WORDS}: {tail}"
    returned = _BETTER_WORDS if transition.still else _ENDED_WORDS if beyond else _RETURNED_WORDS
    by_number = limit.kind not in ("no data", "due") and gas_alarm_name(limit, None) is None
    if by_number and transition.value is not None:
        with_value = f"{returned} at {limit_value_text(transition.value, limit)} after: {tail}"
        if len(with_value) <= SUBJECT_LIMIT:
            return with_value
    return f"{returned} after: {tail}"


def tail_of(subject: str) -> str:
    """A subject without its leading words."""
    return subject.partition(": ")[2] or subject


def shortened(text: str, width: int) -> str:
    """The text, cut to ``width`` characters with an ellipsis where it is longer."""
    return text if len(text) <= width else text[: max(width - 1, 1)] + "…"


def is_beyond(limit: EffectiveLimit, value: float) -> bool:
    """Whether the limit alarms at this value, once its on-delay has passed. value: in our unit; a
    change may be negative, since a limit on a rate alarms in both directions.
    """
    if limit.kind == "rate":
        return abs(value) > limit.setpoint
    return value < limit.setpoint if limit.kind == "low" else value > limit.setpoint


def _tail(transition: Transition, limit: EffectiveLimit | None) -> str:
    if limit is None:
        return shortened(transition.key, _TAIL_LIMIT)
    value = transition.raised_value
    if value is not None and transition.extreme is not None and not is_beyond(limit, value):
        value = transition.extreme  # raised when a mute ended, while the value was on its way back
    return alarm_name(limit, value)


def alarm_name(limit: EffectiveLimit, value: float | None) -> str:
    """What an alarm is about: place, quantity, value and setpoint, or for how long nothing came."""
    if limit.kind == "due":
        return shortened(due_name(limit), _TAIL_LIMIT - len(_IS_DUE)) + _IS_DUE
    if (gas := gas_alarm_name(limit, value)) is not None:
        return f"{shortened(limit.at, _TAIL_LIMIT - len(gas) - 1)} {gas}"
    quantity = measured_name(limit)
    if limit.kind == "no data":
        own = own_words(limit)
        words = own.tail if own is not None else missing_words(limit) + " for {span}"
        rest = f" {quantity}, {words.format(span=duration_text(limit.setpoint))}"
    else:
        shown = "" if value is None else f" {limit_value_text(value, limit)}"
        rest = f" {quantity}{shown}, {side(limit)} {setpoint_text(limit)}"
    return shortened(limit.at, _TAIL_LIMIT - len(rest)) + rest


def _restless_tail(limit: EffectiveLimit) -> str:
    if limit.kind == "due":
        return f"{due_name(limit)} is due again and again"[:_TAIL_LIMIT]
    if (gas := gas_alarm_name(limit, None)) is not None:
        return f"{shortened(limit.at, _TAIL_LIMIT - len(gas) - 17)} {gas}, again and again"
    quantity = measured_name(limit)
    if limit.kind == "no data":
        own = own_words(limit)
        rest = f" {quantity}, {own.state if own is not None else missing_words(limit)} again and again"
    else:
        rest = f" {quantity}, again and again {side(limit)} {setpoint_text(limit)}"
    return shortened(limit.at, _TAIL_LIMIT - len(rest)) + rest
