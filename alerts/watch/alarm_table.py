"""The states of an alarm and every step between them, as data. No step is decided anywhere else.

States and events are those of IEC 62682 and ANSI/ISA-18.2 without latching (there lettered A normal, B
unacknowledged, C acknowledged, D returned to normal unacknowledged, G shelved, H suppressed by design, I out of
service; letters from memory, the standards' text was not at hand).

An occurrence is one stay outside normal. It opens on leaving normal with the condition true and closes on reaching
normal; when the condition begins again before anyone acknowledged, the old occurrence closes and the next opens. It
stays open while muted. So "opens" means: unless one is open; "closes" means: if one is open. A step that closes
is announced only if one was open.

Shelved, suppressed by design and out of service are reasons not to announce an alarm: it is **muted**. Each comes and
goes by itself, several may stand at a time, and nothing is announced until the last of them has ended. Then the alarm
is unacknowledged, and announced again, if its condition is true, whatever it was before (G, H, I -> B; from memory),
and normal otherwise. Only the message is left out where a worse setpoint, or the cause of a silence, had suppressed an
alarm that was reported before (``alarm.Cause``). ``mutes`` are the reasons that stand; the state is the first of them
in the order of ``MUTING``: what people took out of service, what they shelved, what is suppressed by design. The
standard leaves that order open (from memory); it only decides which one is shown.
"""

from __future__ import annotations

__all__ = [
    "ALARM_TABLE",
    "MUTING",
    "AlarmEvent",
    "Cell",
    "ImpossibleStep",
    "Mutes",
    "Occasion",
    "State",
    "Stays",
    "Step",
    "Unmutes",
    "muted_as",
    "next_state",
]

from collections.abc import Collection, Mapping
from enum import StrEnum
from typing import Final, NamedTuple


class State(StrEnum):
    """Where an alarm stands."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out of service"


# The states in which nothing is announced. Of several reasons the first gives the state.
MUTING: Final = (State.OUT_OF_SERVICE, State.SHELVED, State.SUPPRESSED)


class AlarmEvent(StrEnum):
    """What can happen to an alarm."""

    BEGAN = "condition began"
    ENDED = "condition ended"
    ACKNOWLEDGE = "acknowledged"
    SHELVE = "shelved"
    UNSHELVE = "unshelved"
    SHELVING_ENDED = "shelving ended"
    SUPPRESS = "suppressed by design"
    RELEASE = "released"
    TAKE_OUT = "taken out of service"
    RETURN_TO_SERVICE = "returned to service"
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


class Mutes(NamedTuple):
    """A reason not to announce the alarm begins (or begins again, with another end)."""

    reason: State


class Unmutes(NamedTuple):
    """A reason not to announce the alarm ends; why: what holds if it does not stand."""

    reason: State
    why: str


class Stays(NamedTuple):
    """Nothing happens, and why: words that can be shown to the person who asked."""

    why: str


class Impossible(NamedTuple):
    """No right caller sends this event in this state."""

    why: str


class ImpossibleStep(Exception):
    """An event reached an alarm in a state where it cannot happen: a mistake of the caller."""


Cell = Step | Mutes | Unmutes | Stays | Impossible

_ACTIVE_ALREADY: Final = Stays("the condition is known to be true already")
_NOT_ACTIVE: Final = Stays("the condition is known to be false already")
_NOT_SHELVED: Final = Stays("it is not muted")
_NOT_OUT: Final = Stays("it is not out of service")
_NO_END: Final = Impossible("the shelving of an alarm that is not shelved cannot end")
_NOT_SUPPRESSED: Final = Impossible("an alarm that is not suppressed cannot be released")
_HIDDEN: Final = Stays("the condition is followed but not announced while the alarm is suppressed")
_REMOVE: Final = Step(State.NORMAL, closes=True, occasion=Occasion.REMOVED)
_CALM_LATER: Final = Stays("nothing is announced while the alarm is muted")
_RAISE: Final = Step(State.UNACKNOWLEDGED, opens=True, occasion=Occasion.RAISED)
_CLOSE: Final = Step(State.NORMAL, closes=True, occasion=Occasion.RETURNED)

_SHELVE: Final = Mutes(State.SHELVED)
_SUPPRESS: Final = Mutes(State.SUPPRESSED)
_TAKE_OUT: Final = Mutes(State.OUT_OF_SERVICE)
_UNSHELVE: Final = Unmutes(State.SHELVED, _NOT_SHELVED.why)
_SHELVING_ENDED: Final = Unmutes(State.SHELVED, _NO_END.why)
_RELEASE: Final = Unmutes(State.SUPPRESSED, _NOT_SUPPRESSED.why)
_RETURN_TO_SERVICE: Final = Unmutes(State.OUT_OF_SERVICE, _NOT_OUT.why)

# Events of reasons that do not stand in a state that is not muted, and that each may begin there.
_NOT_MUTED: Final[Mapping[AlarmEvent, Cell]] = {
    AlarmEvent.SHELVE: _SHELVE,
    AlarmEvent.UNSHELVE: _NOT_SHELVED,
    AlarmEvent.SHELVING_ENDED: _NO_END,
    AlarmEvent.SUPPRESS: _SUPPRESS,
    AlarmEvent.RELEASE: _NOT_SUPPRESSED,
    AlarmEvent.TAKE_OUT: _TAKE_OUT,
    AlarmEvent.RETURN_TO_SERVICE: _NOT_OUT,
}

ALARM_TABLE: Final[Mapping[State, Mapping[AlarmEvent, Cell]]] = {
    State.NORMAL: {
        **_NOT_MUTED,
        AlarmEvent.BEGAN: _RAISE,
        AlarmEvent.ENDED: _NOT_ACTIVE,
        AlarmEvent.ACKNOWLEDGE: Stays("there is nothing to acknowledge"),
        AlarmEvent.REMOVED: Stays("no occurrence is open"),
        AlarmEvent.CALM: Step(State.NORMAL, occasion=Occasion.CALM),
    },
    State.UNACKNOWLEDGED: {
        **_NOT_MUTED,
        AlarmEvent.BEGAN: _ACTIVE_ALREADY,
        AlarmEvent.ENDED: Step(State.RETURNED, occasion=Occasion.RETURNED),
        AlarmEvent.ACKNOWLEDGE: Step(State.ACKNOWLEDGED),
        AlarmEvent.REMOVED: _REMOVE,
        AlarmEvent.CALM: Step(State.UNACKNOWLEDGED, occasion=Occasion.CALM),
    },
    State.ACKNOWLEDGED: {
        **_NOT_MUTED,
        AlarmEvent.BEGAN: _ACTIVE_ALREADY,
        AlarmEvent.ENDED: _CLOSE,
        AlarmEvent.ACKNOWLEDGE: Stays("it is acknowledged already"),
        AlarmEvent.REMOVED: _REMOVE,
        AlarmEvent.CALM: Step(State.ACKNOWLEDGED, occasion=Occasion.CALM),
    },
    State.RETURNED: {
        **_NOT_MUTED,
        AlarmEvent.BEGAN: Step(State.UNACKNOWLEDGED, renews=True, occasion=Occasion.RAISED),
        AlarmEvent.ENDED: _NOT_ACTIVE,
        AlarmEvent.ACKNOWLEDGE: Step(State.NORMAL, closes=True),
        AlarmEvent.REMOVED: _REMOVE,
        AlarmEvent.CALM: Step(State.RETURNED, occasion=Occasion.CALM),
    },
    # What happens to a condition while people have muted it is on record; while it is suppressed by design its cause
    # is, and that of each of the many alarms which one cause explains is not.
    State.SHELVED: {
        AlarmEvent.BEGAN: Step(State.SHELVED),
        AlarmEvent.ENDED: Step(State.SHELVED),
        AlarmEvent.ACKNOWLEDGE: Stays("it is muted, so there is nothing to acknowledge"),
        AlarmEvent.SHELVE: _SHELVE,
        AlarmEvent.UNSHELVE: _UNSHELVE,
        AlarmEvent.SHELVING_ENDED: _SHELVING_ENDED,
        AlarmEvent.SUPPRESS: _SUPPRESS,
        AlarmEvent.RELEASE: _RELEASE,
        AlarmEvent.TAKE_OUT: _TAKE_OUT,
        AlarmEvent.RETURN_TO_SERVICE: _NOT_OUT,
        AlarmEvent.REMOVED: _REMOVE,
        AlarmEvent.CALM: _CALM_LATER,
    },
    State.SUPPRESSED: {
        **_NOT_MUTED,
        AlarmEvent.BEGAN: _HIDDEN,
        AlarmEvent.ENDED: _HIDDEN,
        AlarmEvent.ACKNOWLEDGE: Stays("it is suppressed by design, so there is nothing to acknowledge"),
        AlarmEvent.SUPPRESS: Stays("it is suppressed already"),
        AlarmEvent.RELEASE: _RELEASE,
        AlarmEvent.REMOVED: _REMOVE,
        AlarmEvent.CALM: _CALM_LATER,
    },
    State.OUT_OF_SERVICE: {
        AlarmEvent.BEGAN: Step(State.OUT_OF_SERVICE),
        AlarmEvent.ENDED: Step(State.OUT_OF_SERVICE),
        AlarmEvent.ACKNOWLEDGE: Stays("it is out of service, so there is nothing to acknowledge"),
        AlarmEvent.SHELVE: Stays("it is out of service, which has no end; return it to service first"),
        AlarmEvent.UNSHELVE: _UNSHELVE,
        AlarmEvent.SHELVING_ENDED: _SHELVING_ENDED,
        AlarmEvent.SUPPRESS: _SUPPRESS,
        AlarmEvent.RELEASE: _RELEASE,
        AlarmEvent.TAKE_OUT: Stays("it is out of service already"),
        AlarmEvent.RETURN_TO_SERVICE: _RETURN_TO_SERVICE,
        AlarmEvent.REMOVED: _REMOVE,
        AlarmEvent.CALM: _CALM_LATER,
    },
}


def muted_as(mutes: Collection[State]) -> State | None:
    """The state that these reasons give, None without any."""
    return next((reason for reason in MUTING if reason in mutes), None)


def next_state(
    state: State, event: AlarmEvent, mutes: Collection[State] = (), *, active: bool = False
) -> tuple[Step | Stays, frozenset[State]]:
    """The cell of the table as it applies, and the reasons to be muted that stand after it.

    mutes: the reasons that stand before, which give the state; active: whether the condition is true, for the end of
    the last reason. Raises ImpossibleStep where the table says that the event cannot happen.
    """
    stand = frozenset(mutes)
    cell = ALARM_TABLE[state][event]
    if isinstance(cell, Unmutes) and cell.reason not in stand:
        cell = Stays(cell.why) if event in (AlarmEvent.UNSHELVE, AlarmEvent.RETURN_TO_SERVICE) else Impossible(cell.why)
    if isinstance(cell, Mutes) and cell.reason in stand and event is not AlarmEvent.SHELVE:
        cell = Stays("it is muted for this reason already")
    if isinstance(cell, Impossible):
        raise ImpossibleStep(f"'{event}' came to an alarm that is '{state}': {cell.why}")
    if isinstance(cell, Mutes | Unmutes):
        stand = stand | {cell.reason} if isinstance(cell, Mutes) else stand - {cell.reason}
        muted = muted_as(stand)
        return Step(muted) if muted is not None else _RAISE if active else _CLOSE, stand
    if isinstance(cell, Step) and cell.to not in MUTING:
        stand = frozenset()
    return cell, stand
