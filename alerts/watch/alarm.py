"""One limit's alarm, and what an event makes of it by the table of states."""

from __future__ import annotations

__all__ = ["AlarmState", "Cause", "Transition", "advance", "because_of"]

from collections.abc import Callable
from dataclasses import dataclass, replace

from alerts.watch.alarm_table import AlarmEvent, Occasion, State, Stays, Step, next_state
from alerts.watch.chatter import Chatter
from alerts.watch.condition import Condition
from alerts.watch.shelving import OutOfService, Shelving


@dataclass(frozen=True, slots=True)
class AlarmState:
    """Where a limit's alarm stands.

    occurrence: the short id of the open occurrence, None when none is open; past_occurrence: the one closed last;
    since_ms: own time of the reading that first crossed; raised_ms: when the alarm was raised; value: the value
    judged then; last_value: the value at the newest event; awaits_return: the last message said that it was raised;
    acknowledged_by, acknowledged_ms, note: who said "seen", when, and what they wrote; suppressed, shelving,
    out_of_service: the reasons to be muted that stand, which give the state; suppressed_because: what the first of them
    is for, "" while it does not stand. Times are UTC milliseconds, values in our unit of the quantity.
    """

    key: str
    state: State = State.NORMAL
    occurrence: str | None = None
    past_occurrence: str | None = None
    since_ms: int | None = None
    raised_ms: int | None = None
    value: float | None = None
    last_value: float | None = None
    awaits_return: bool = False
    acknowledged_by: str | None = None
    acknowledged_ms: int | None = None
    note: str = ""
    suppressed: bool = False
    suppressed_because: str = ""
    shelving: Shelving | None = None
    out_of_service: OutOfService | None = None

    @property
    def mutes(self) -> frozenset[State]:
        """The reasons not to announce it that stand."""
        stand = {
            State.SUPPRESSED: self.suppressed,
            State.SHELVED: self.shelving is not None,
            State.OUT_OF_SERVICE: self.out_of_service is not None,
        }
        return frozenset(reason for reason, stands in stand.items() if stands)


@dataclass(frozen=True, slots=True)
class Transition:
    """One step of one alarm, as it is stored and announced.

    occurrence: the one that the step belongs to, None where there is none (a quiet limit becomes suppressed); at_ms:
    when the turn took the step; opened, closed: the occurrence that opened or closed with it (both, when the
    condition came back before anyone acknowledged: then closed is the earlier one); occasion: of the message about
    it, None for no message; value: the value at the step; raised_value, since_ms: value when it was raised and own
    time of the reading that first crossed; extreme: the farthest value beyond the setpoint; condition: the condition
    behind the step; by: the person; note: what the person wrote; suppressed_by: the key of the limit that suppresses;
    chatter: what was known of it before a step that reports its beginning or its end; explains: of a cause, the
    probes whose silence it explains; still: of a return, the keys of milder limits of the same probe whose alarms
    stand and were reported before.
    """

    key: str
    occurrence: str | None
    at_ms: int
    from_state: State
    to_state: State
    event: AlarmEvent
    occasion: Occasion | None = None
    opened: str | None = None
    closed: str | None = None
    value: float | None = None
    raised_value: float | None = None
    since_ms: int | None = None
    extreme: float | None = None
    condition: Condition | None = None
    by: str | None = None
    note: str = ""
    suppressed_by: str | None = None
    chatter: Chatter | None = None
    explains: tuple[str, ...] = ()
    still: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cause:
    """What stands behind an event: when it is applied, and as far as known condition, person and suppressing limit.

    note: as the alarm record keeps it; shelving, out_of_service: what such an event begins; stands: of a release, that
    only a worse setpoint of the same quantity, or the cause of a silence, had suppressed the alarm, so that whoever
    heard of it before has heard nothing else since.
    """

    at_ms: int
    condition: Condition | None = None
    by: str | None = None
    asked_ms: int | None = None
    note: str = ""
    suppressed_by: str | None = None
    shelving: Shelving | None = None
    out_of_service: OutOfService | None = None
    stands: bool = False


def because_of(suppressing: str) -> str:
    """Why an alarm is suppressed, where another limit does it. suppressing: its key."""
    return f"{suppressing} is active"


def advance(
    alarm: AlarmState, event: AlarmEvent, cause: Cause, next_occurrence: Callable[[], str]
) -> tuple[AlarmState, Transition | None, str]:
    """Apply one event: the new state, the transition (None when nothing happens) and then why nothing happened.

    next_occurrence is called only when an occurrence opens.
    """
    is_active = cause.condition is not None and cause.condition.active
    cell, mutes = next_state(alarm.state, event, alarm.mutes, active=is_active)
    if isinstance(cell, Stays):
        return alarm, None, cell.why
    occasion = _occasion(alarm, cell, stands=cause.stands)
    after, opened, closed = _occurrences(alarm, cell, cause, next_occurrence)
    condition = cause.condition
    value = condition.value if condition is not None and condition.value is not None else None
    after = replace(
        after,
        state=cell.to,
        last_value=alarm.last_value if value is None else value,
        awaits_return=_awaits_return(alarm, occasion),
        suppressed=State.SUPPRESSED in mutes,
        suppressed_because=_because(alarm, cause) if State.SUPPRESSED in mutes else "",
        shelving=(cause.shelving or alarm.shelving) if State.SHELVED in mutes else None,
        out_of_service=(cause.out_of_service or alarm.out_of_service) if State.OUT_OF_SERVICE in mutes else None,
    )
    if event is AlarmEvent.ACKNOWLEDGE:
        seen_ms = cause.at_ms if cause.asked_ms is None else cause.asked_ms
        after = replace(after, acknowledged_by=cause.by, acknowledged_ms=seen_ms, note=cause.note)
    elif occasion is Occasion.RAISED:
        after = replace(
            after,
            since_ms=condition.since_ms if condition is not None else cause.at_ms,
            raised_ms=cause.at_ms,
            value=value,
            acknowledged_by=None,
            acknowledged_ms=None,
            note="",
        )
    transition = Transition(
        key=alarm.key,
        occurrence=after.occurrence or closed or (after.past_occurrence if occasion is Occasion.CALM else None),
        at_ms=cause.at_ms,
        from_state=alarm.state,
        to_state=cell.to,
        event=event,
        occasion=occasion,
        opened=opened,
        closed=closed,
        value=after.last_value,
        raised_value=after.value,
        since_ms=after.since_ms,
        extreme=None if condition is None else condition.extreme,
        condition=condition,
        by=cause.by,
        note=cause.note,
        suppressed_by=cause.suppressed_by,
    )
    return after, transition, ""


def _occasion(alarm: AlarmState, cell: Step, *, stands: bool) -> Occasion | None:
    if cell.closes and alarm.occurrence is None:
        return None
    if cell.occasion is Occasion.CALM and (alarm.occurrence or alarm.past_occurrence) is None:
        return None
    if cell.occasion is Occasion.RETURNED and not alarm.awaits_return:
        return None  # the message went out before the alarm was suppressed
    if cell.occasion is Occasion.RAISED and stands and alarm.occurrence is not None and alarm.awaits_return:
        return None  # so did the one that it was raised
    return cell.occasion


def _because(alarm: AlarmState, cause: Cause) -> str:
    if alarm.suppressed:
        return alarm.suppressed_because
    return cause.note or (because_of(cause.suppressed_by) if cause.suppressed_by else "")


def _awaits_return(alarm: AlarmState, occasion: Occasion | None) -> bool:
    return alarm.awaits_return if occasion in (None, Occasion.CALM) else occasion is Occasion.RAISED


def _occurrences(
    alarm: AlarmState, cell: Step, cause: Cause, next_occurrence: Callable[[], str]
) -> tuple[AlarmState, str | None, str | None]:
    opened = closed = None
    if alarm.occurrence is not None and (cell.closes or cell.renews):
        closed = alarm.occurrence
        alarm = replace(alarm, occurrence=None, past_occurrence=closed)
    if alarm.occurrence is None and (cell.opens or cell.renews):
        opened = next_occurrence()
        alarm = replace(alarm, occurrence=opened)
    return alarm, opened, closed
