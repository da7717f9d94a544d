"""A second implementation of limits, alarm states and messages, to compare the watch with.

It shares no code with ``alerts/watch``, and is built another way: an alarm is a handful of flags, as in OPC UA Part 9,
from which its state follows; a condition is judged by the run of readings since it last changed.
"""

from __future__ import annotations

__all__ = ["LONGEST_GAP", "ModelAlarm", "ModelLevel", "ModelSilence", "ModelTurn", "Reading", "Took"]

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

LONGEST_GAP = 120.0
HOUR = 3600.0


class Reading(NamedTuple):
    """A reading of the probe; value None: it came, but is not good."""

    at: float
    value: float | None


class Took(NamedTuple):
    """A step that an alarm took: event, states and the message about it, in the words of the alarm record."""

    event: str
    before: str
    after: str
    message: str | None = None
    opens: bool = False
    closes: bool = False


@dataclass
class ModelLevel:
    """A low or high limit. run: the good readings without a gap that say the opposite of the condition."""

    low: bool
    setpoint: float
    deadband: float
    on_delay: float
    off_delay: float
    active: bool = False
    run: list[tuple[float, float]] = field(default_factory=list)
    newest: float | None = None
    heard: float | None = None

    def readings(self, now: float, readings: Iterable[Reading]) -> list[bool]:
        changes = []
        for at, value in readings:
            gap = self.newest is not None and at - self.newest > LONGEST_GAP
            self.newest, self.heard = at, now
            if gap:
                self.run = []
            if value is None or not self._opposes(value):
                self.run = []
                continue
            self.run.append((at, now))
            if at - self.run[0][0] >= self._delay():
                changes.append(self._flip())
        return changes

    def time(self, now: float) -> list[bool]:
        is_fresh = self.heard is not None and now - self.heard <= LONGEST_GAP
        is_over = bool(self.run) and now - self.run[0][1] >= self._delay()
        return [self._flip()] if is_fresh and is_over else []

    def reboot(self, now: float) -> None:
        """What passed on the monotonic clock is lost; how old the newest reading is, the wall clock says."""
        self.run = [(at, now) for at, _ in self.run]
        self.heard = self.newest

    def held(self, before: bool, open_now: bool, changes: list[bool]) -> list[bool]:
        """The journal mutes it: it may end, and does if nothing is open; it does not begin."""
        if before and open_now and False not in changes:
            return []
        self.active, self.run = False, []
        return [False] if before else []

    def _opposes(self, value: float) -> bool:
        beyond = self.setpoint - value if self.low else value - self.setpoint
        return -beyond > self.deadband if self.active else beyond > 0

    def _delay(self) -> float:
        return self.off_delay if self.active else self.on_delay

    def _flip(self) -> bool:
        self.active, self.run = not self.active, []
        return self.active


@dataclass
class ModelSilence:
    """A limit on silence."""

    longest: float
    heard: float = 0.0
    active: bool = False

    def readings(self, now: float, readings: Sequence[Reading]) -> list[bool]:
        if not readings:
            return []
        self.heard = now
        was, self.active = self.active, False
        return [False] if was else []

    def time(self, now: float) -> list[bool]:
        if self.active or now - self.heard <= self.longest:
            return []
        self.active = True
        return [True]

    def reboot(self, now: float) -> None:
        self.heard = now


@dataclass
class ModelAlarm:
    """An alarm as flags. reported: the last message said that it was raised; by_worse: what suppressed it first is a
    worse setpoint, not the journal.
    """

    active: bool = False
    seen: bool = True
    open: bool = False
    reported: bool = False
    suppressed: bool = False
    by_worse: bool = False
    out: bool = False
    until: float | None = None
    took: list[Took] = field(default_factory=list)

    @property
    def muted(self) -> bool:
        return self.suppressed or self.out or self.until is not None

    @property
    def state(self) -> str:
        if self.out:
            return "out of service"
        if self.until is not None:
            return "shelved"
        if self.suppressed:
            return "suppressed"
        if self.active:
            return "acknowledged" if self.seen else "unacknowledged"
        return "returned" if self.open else "normal"

    def condition(self, active: bool) -> None:
        before, self.active = self.state, active
        event = "condition began" if active else "condition ended"
        if self.muted:
            if before != "suppressed":
                self._note(event, before)
        elif active:
            self._raise(event, before)
        else:
            self._return(event, before, closes=self.seen)

    def acknowledge(self) -> bool:
        before = self.state
        if self.muted or self.seen:
            return False
        self.seen = True
        closes = not self.active
        self.open = self.open and not closes
        self._note("acknowledged", before, closes=closes)
        return True

    def shelve(self, until: float) -> bool:
        if self.out:
            return False
        before, self.until = self.state, until
        self._note("shelved", before)
        return True

    def take_out(self) -> bool:
        if self.out:
            return False
        before, self.out = self.state, True
        self._note("taken out of service", before)
        return True

    def suppress(self, *, by_worse: bool) -> None:
        if not self.suppressed:
            before, self.suppressed, self.by_worse = self.state, True, by_worse
            self._note("suppressed by design", before)

    def unshelve(self, event: str = "unshelved") -> bool:
        if self.until is None:
            return False
        before, self.until = self.state, None
        self._unmuted(event, before)
        return True

    def put_back(self) -> bool:
        if not self.out:
            return False
        before, self.out = self.state, False
        self._unmuted("returned to service", before)
        return True

    def release(self, *, worse_is_watched: bool) -> None:
        if self.suppressed:
            before, self.suppressed = self.state, False
            stands = self.by_worse and worse_is_watched and self.open and self.reported
            self._unmuted("released", before, stands=stands)

    def remove(self) -> list[Took]:
        if self.muted or self.open:
            message = "removed" if self.open else None
            return [Took("limit removed", self.state, "normal", message, closes=self.open)]
        return []

    def _unmuted(self, event: str, before: str, *, stands: bool = False) -> None:
        if self.muted:
            self._note(event, before)
        elif self.active:
            self._raise(event, before, renews=False, stands=stands)
        else:
            self._return(event, before, closes=True)

    def _raise(self, event: str, before: str, *, renews: bool = True, stands: bool = False) -> None:
        opens, closes = not self.open or renews, self.open and renews
        self.seen, self.open, self.reported = False, True, True
        self._note(event, before, None if stands else "raised", opens=opens, closes=closes)

    def _return(self, event: str, before: str, *, closes: bool) -> None:
        message = "returned" if self.open and self.reported else None
        closed = closes and self.open
        if closes:
            self.open, self.seen = False, True
        if message:
            self.reported = False
        self._note(event, before, message, closes=closed)

    def _note(
        self, event: str, before: str, message: str | None = None, *, opens: bool = False, closes: bool = False
    ) -> None:
        self.took.append(Took(event, before, self.state, message, opens, closes))


class ModelTurn:
    """The limits of a cellar, turn by turn. causes: which limit suppresses which; guards: those on overpressure."""

    def __init__(
        self,
        limits: Mapping[str, ModelLevel | ModelSilence],
        causes: Mapping[str, str],
        guards: Iterable[str],
    ) -> None:
        self.limits = dict(limits)
        self.causes = dict(causes)
        self.guards = set(guards)
        self.alarms = {key: ModelAlarm() for key in limits}

    def asked(self, now: float, kind: str, key: str, why: str, span: float | None, waited: float) -> bool:
        """What a person asked for, so many seconds ago; whether it was done."""
        if kind == "acknowledge all":
            done = [alarm.acknowledge() for alarm in self.alarms.values()]
            return any(done)
        if key not in self.alarms:
            return False
        alarm = self.alarms[key]
        if kind == "acknowledge":
            return alarm.acknowledge()
        if kind == "unshelve":
            return alarm.unshelve()
        if kind == "return to service":
            return alarm.put_back()
        if kind == "take out of service":
            return bool(why) and key not in self.guards and alarm.take_out()
        assert kind == "shelve"
        longest = HOUR if key in self.guards else 7 * 24 * HOUR
        if not why or span is None or not waited < span <= longest:
            return False
        return alarm.shelve(now + span - waited)

    def judge(self, now: float, readings: Sequence[Reading], quiet: Iterable[str]) -> None:
        """What is new, what has run out, and what mutes limits now."""
        quiet = set(quiet)
        changes = {}
        for key, limit in self.limits.items():
            before = limit.active
            changes[key] = limit.readings(now, readings) + limit.time(now)
            if key in quiet and isinstance(limit, ModelLevel):
                changes[key] = limit.held(before, self.alarms[key].open, changes[key])
        for key, cause in self.causes.items():
            if key in self.alarms and cause in self.limits and (self.limits[cause].active or True in changes[cause]):
                self.alarms[key].suppress(by_worse=True)
        for key in quiet & self.alarms.keys():
            self.alarms[key].suppress(by_worse=False)
        for key, alarm in self.alarms.items():
            for change in changes[key]:
                alarm.condition(change)
        for key, alarm in self.alarms.items():
            cause = self.causes.get(key, "")
            if key not in quiet and not (cause in self.limits and self.limits[cause].active):
                alarm.release(worse_is_watched=cause in self.limits)
            if alarm.until is not None and now >= alarm.until:
                alarm.unshelve("shelving ended")
