"""The states of an alarm and every step between them, as data. No step is decided anywhere else.

States and events are those of IEC 62682 and ANSI/ISA-18.2 without latching (there lettered A normal, B
unacknowledged, C acknowledged, D returned to normal unacknowledged, H suppressed by design; letters from memory, the
standards' text was not at hand). Another state, such as shelved or out of service, is another row and a few cells.

An occurrence is one stay outside normal. It opens on leaving normal with the condition true and closes on reaching
normal; when the condition begins again before anyone acknowledged, the old occurrence closes and the next opens. It
stays open while suppressed. So "opens" means: unless one is open; "closes" means: if one is open. A step that closes
is announced only if one was open.
"""

from __future__ import annotations

__all__ = ["ALARM_TABLE", "AlarmEvent", "Cell", "ImpossibleStep", "Occasion", "State", "Stays", "Step", "next_state"]

from collections.abc import Mapping
from enum import StrEnum
from typing import Final, NamedTuple


class State(StrEnum):
    """Where an alarm stands."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"
    SUPPRESSED = "suppressed"


class AlarmEvent(StrEnum):
    """What can happen to an alarm."""

    BEGAN = "condition began"
    ENDED = "condition ended"
    ACKNOWLEDGE = "acknowledged"
    SUPPRESS = "suppressed by design"
    RELEASE_ACTIVE = "released, condition true"
    RELEASE_NORMAL = "released, condition false"
    REMOVED = "limit removed"
    CALM = "chattering ended"


class Occasion(StrEnum):
    """What a message about a step is for."""

    RAISED = "raised"
    RETURNED = "returned"
    REMOVED = "removed"
    CHATTERING = "chattering"
    CALM = "calm"


class Step(NamedTuple):
    """A step to another state. renews: closes the open occurrence and opens the next."""

    to: State
    opens: bool = False
    closes: bool = False
    renews: bool = False
    occasion: Occasion | None = None


class Stays(NamedTuple):
    """Nothing happens, and why: words that can be shown to the person who asked."""

    why: str


class Impossible(NamedTuple):
    """No right caller sends this event in this state."""

    why: str


class ImpossibleStep(Exception):
    """An event reached an alarm in a state where it cannot happen: a mistake of the caller."""


Cell = Step | Stays | Impossible

_ACTIVE_ALREADY = Stays("the condition is known to be true already")
_NOT_ACTIVE = Stays("the condition is known to be false already")
_NOT_SUPPRESSED = Impossible("an alarm that is not suppressed cannot be released")
_HIDDEN = Stays("the condition is followed but not announced while the alarm is suppressed")
_RAISE = Step(State.UNACKNOWLEDGED, opens=True, occasion=Occasion.RAISED)
_SUPPRESS = Step(State.SUPPRESSED)
_CALM_LATER = Stays("nothing is announced while the alarm is suppressed")
_REMOVE = Step(State.NORMAL, closes=True, occasion=Occasion.REMOVED)

ALARM_TABLE: Final[Mapping[State, Mapping[AlarmEvent, Cell]]] = {
    State.NORMAL: {
        AlarmEvent.BEGAN: _RAISE,
        AlarmEvent.ENDED: _NOT_ACTIVE,
        AlarmEvent.ACKNOWLEDGE: Stays("there is nothing to acknowledge"),
        AlarmEvent.SUPPRESS: _SUPPRESS,
        AlarmEvent.RELEASE_ACTIVE: _NOT_SUPPRESSED,
        AlarmEvent.RELEASE_NORMAL: _NOT_SUPPRESSED,
        AlarmEvent.REMOVED: Stays("no occurrence is open"),
        AlarmEvent.CALM: Step(State.NORMAL, occasion=Occasion.CALM),
    },
    State.UNACKNOWLEDGED: {
        AlarmEvent.BEGAN: _ACTIVE_ALREADY,
        AlarmEvent.ENDED: Step(State.RETURNED, occasion=Occasion.RETURNED),
        AlarmEvent.ACKNOWLEDGE: Step(State.ACKNOWLEDGED),
        AlarmEvent.SUPPRESS: _SUPPRESS,
        AlarmEvent.RELEASE_ACTIVE: _NOT_SUPPRESSED,
        AlarmEvent.RELEASE_NORMAL: _NOT_SUPPRESSED,
        AlarmEvent.REMOVED: _REMOVE,
        AlarmEvent.CALM: Step(State.UNACKNOWLEDGED, occasion=Occasion.CALM),
    },
    State.ACKNOWLEDGED: {
        AlarmEvent.BEGAN: _ACTIVE_ALREADY,
        AlarmEvent.ENDED: Step(State.NORMAL, closes=True, occasion=Occasion.RETURNED),
        AlarmEvent.ACKNOWLEDGE: Stays("it is acknowledged already"),
        AlarmEvent.SUPPRESS: _SUPPRESS,
        AlarmEvent.RELEASE_ACTIVE: _NOT_SUPPRESSED,
        AlarmEvent.RELEASE_NORMAL: _NOT_SUPPRESSED,
        AlarmEvent.REMOVED: _REMOVE,
        AlarmEvent.CALM: Step(State.ACKNOWLEDGED, occasion=Occasion.CALM),
    },
    State.RETURNED: {
        AlarmEvent.BEGAN: Step(State.UNACKNOWLEDGED, renews=True, occasion=Occasion.RAISED),
        AlarmEvent.ENDED: _NOT_ACTIVE,
        AlarmEvent.ACKNOWLEDGE: Step(State.NORMAL, closes=True),
        AlarmEvent.SUPPRESS: _SUPPRESS,
        AlarmEvent.RELEASE_ACTIVE: _NOT_SUPPRESSED,
        AlarmEvent.RELEASE_NORMAL: _NOT_SUPPRESSED,
        AlarmEvent.REMOVED: _REMOVE,
        AlarmEvent.CALM: Step(State.RETURNED, occasion=Occasion.CALM),
    },
    State.SUPPRESSED: {
        AlarmEvent.BEGAN: _HIDDEN,
        AlarmEvent.ENDED: _HIDDEN,
        AlarmEvent.ACKNOWLEDGE: Stays("it is suppressed by design, so there is nothing to acknowledge"),
        AlarmEvent.SUPPRESS: Stays("it is suppressed already"),
        AlarmEvent.RELEASE_ACTIVE: _RAISE,
        AlarmEvent.RELEASE_NORMAL: Step(State.NORMAL, closes=True, occasion=Occasion.RETURNED),
        AlarmEvent.REMOVED: _REMOVE,
        AlarmEvent.CALM: _CALM_LATER,
    },
}


def next_state(state: State, event: AlarmEvent) -> Step | Stays:
    """The cell of the table; raises ImpossibleStep where the table says that the event cannot happen."""
    cell = ALARM_TABLE[state][event]
    if isinstance(cell, Impossible):
        raise ImpossibleStep(f"'{event}' came to an alarm that is '{state}': {cell.why}")
    return cell
