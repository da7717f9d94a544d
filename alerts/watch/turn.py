"""The turn: new readings and what operators did become conditions, alarm steps and outcomes.

Order within a turn: operators (they speak of what they saw before this turn); limits that left the cellar file;
edited limits; suppression that begins; conditions, in the readings' order; suppression that ends. So a limit that is
pointless while another is active is never raised in the turn in which both begin. A limit on silence that is released
while nothing has been heard yet begins its time anew, unless an occurrence of it was open before. What the journal
quiets (an empty vessel, a racking under way) is suppressed in the same way, from outside; there a condition may end
but not begin, so that the on-delay has its whole time after the release.

The cost depends on what is new: readings reach only their own probe's limits, and what needs a look every second
(running delays, silence) is a comparison or two for each limit.
"""

from __future__ import annotations

__all__ = ["DEFAULT_FRESH_S", "TurnResult", "Watch", "step"]

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Final

from alerts.watch import level, no_data
from alerts.watch.alarm import Cause, Transition, advance
from alerts.watch.alarm_table import AlarmEvent, State
from alerts.watch.condition import Condition
from alerts.watch.level import LevelTrack
from alerts.watch.limit import EffectiveLimit, Rule, rule_of
from alerts.watch.no_data import SilenceTrack
from alerts.watch.turn_inputs import Now, OperatorEvent, WatchReading
from alerts.watch.watch_state import LimitRecord, Track, WatchState, fresh_track, kept

# For a probe without a limit on its silence; the cellar file's own default is never shorter than this.
DEFAULT_FRESH_S: Final = 120.0
_NOTHING_QUIET: Final[Mapping[str, str]] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class TurnResult:
    """What a turn made.

    book: for the next turn; changed: entries to be written, by limit key; removed: keys whose rows are to be deleted;
    transitions: in the order in which they happened; outcomes: for each operator event its id and what to say to the
    person; conditions: the conditions that changed, as they stand now, by limit key.
    """

    book: WatchState
    changed: dict[str, LimitRecord] = field(default_factory=dict)
    removed: tuple[str, ...] = ()
    transitions: list[Transition] = field(default_factory=list)
    outcomes: list[tuple[int, str]] = field(default_factory=list)
    conditions: dict[str, Condition] = field(default_factory=dict)


class Watch:
    """The limits of a cellar, indexed once by probe and by what they suppress."""

    def __init__(self, limits: Mapping[str, EffectiveLimit]) -> None:
        self._limits = dict(limits)
        self._rules = {key: rule_of(limit) for key, limit in self._limits.items()}
        self._keys_of_probe: dict[str, list[str]] = {}
        fresh: dict[str, float] = {}
        for key, limit in self._limits.items():
            self._keys_of_probe.setdefault(limit.probe, []).append(key)
            if limit.kind == "no data":
                fresh[limit.probe] = max(limit.setpoint, fresh.get(limit.probe, 0.0))
        self._fresh_s = {probe: fresh.get(probe, DEFAULT_FRESH_S) for probe in self._keys_of_probe}
        self._suppressible = {
            key: limit.suppressed_by
            for key, limit in self._limits.items()
            if limit.suppressed_by is not None and limit.suppressed_by in self._limits
        }
        # A suppressing limit may leave the file while what it suppressed stays: that alarm has to be released.
        self._never_suppressed = [key for key in self._limits if key not in self._suppressible]

    def step(
        self,
        book: WatchState,
        readings: Sequence[WatchReading],
        events: Sequence[OperatorEvent],
        now: Now,
        next_occurrence: Callable[[], str],
        quiet: Mapping[str, str] = _NOTHING_QUIET,
    ) -> TurnResult:
        """One turn. readings: new ones, several per probe in the order in which they came; readings of unknown probes
        are passed over. next_occurrence gives ids that are never used again. quiet: keys of limits that say nothing
        now by the journal, each with the reason; keys that are no limit's are passed over.
        """
        turn = _Turn(dict(book.entries), now, next_occurrence)
        self._reconcile(turn, events)
        before = {key: turn.entries[key].track for key in quiet if key in self._limits}
        self._judge(turn, readings)
        for key, track in before.items():
            turn.hold_back(key, track)
        self._suppress_and_apply(turn, quiet)
        changed = {
            key: entry
            for key, before in turn.before.items()
            if (entry := turn.entries.get(key)) is not None and (before is None or kept(before) != kept(entry))
        }
        conditions = {key: turn.entries[key].condition for key in turn.changes}
        return TurnResult(
            WatchState(turn.entries), changed, tuple(turn.removed), turn.transitions, turn.outcomes, conditions
        )

    def _reconcile(self, turn: _Turn, events: Sequence[OperatorEvent]) -> None:
        entries, mono = turn.entries, turn.now.mono
        for event in events:
            turn.outcomes.append((event.id, turn.operate(event)))
        for key in entries.keys() - self._limits.keys():
            turn.remove(key)
        for key, rule in self._rules.items():
            entry = entries.get(key)
            if entry is None:
                turn.put(key, LimitRecord.fresh(self._limits[key], mono))
            elif entry.rule != rule:
                turn.put(key, LimitRecord(rule, _carried(entry, rule, mono), entry.alarm))

    def _judge(self, turn: _Turn, readings: Sequence[WatchReading]) -> None:
        limits, entries, now = self._limits, turn.entries, turn.now
        by_probe: dict[str, list[WatchReading]] = {}
        for reading in readings:
            by_probe.setdefault(reading.probe, []).append(reading)
        for probe, its_readings in by_probe.items():
            for key in self._keys_of_probe.get(probe, ()):
                entry, track = entries[key], entries[key].track
                after: Track
                if isinstance(track, LevelTrack):
                    after, changes = level.judge(
                        track, limits[key], its_readings, fresh_s=self._fresh_s[probe], mono=now.mono
                    )
                else:
                    after, changes = no_data.hear(track, limits[key], its_readings, mono=now.mono)
                turn.judged(key, entry, after, changes)
        for key, limit in limits.items():
            entry, track = entries[key], entries[key].track
            if isinstance(track, LevelTrack):
                if track.pending_ms is None:
                    continue
                after, change = level.tick(track, limit, fresh_s=self._fresh_s[limit.probe], mono=now.mono)
            else:
                after, change = no_data.tick(track, limit, now=now)
            if change is not None:
                turn.judged(key, entry, after, [change])

    def _suppress_and_apply(self, turn: _Turn, quiet: Mapping[str, str]) -> None:
        entries, changes = turn.entries, turn.changes
        for key, parent in self._suppressible.items():
            was_active_in_turn = entries[parent].track.active or any(
                change.active for change in changes.get(parent, ())
            )
            if was_active_in_turn and entries[key].alarm.state is not State.SUPPRESSED:
                turn.apply(
                    key, AlarmEvent.SUPPRESS, Cause(turn.now.utc_ms, entries[key].condition, suppressed_by=parent)
                )
        for key in [key for key in self._limits if key in quiet] if quiet else ():
            if entries[key].alarm.state is not State.SUPPRESSED:
                turn.apply(key, AlarmEvent.SUPPRESS, Cause(turn.now.utc_ms, entries[key].condition, note=quiet[key]))
        for key, its_changes in changes.items():
            for change in its_changes:
                turn.apply(key, AlarmEvent.BEGAN if change.active else AlarmEvent.ENDED, Cause(turn.now.utc_ms, change))
        for key, parent in self._suppressible.items():
            if not entries[parent].track.active and key not in quiet:
                self._release(turn, key)
        for key in self._never_suppressed:
            if key not in quiet:
                self._release(turn, key)

    @staticmethod
    def _release(turn: _Turn, key: str) -> None:
        entry = turn.entries[key]
        if entry.alarm.state is not State.SUPPRESSED:
            return
        if isinstance(entry.track, SilenceTrack) and entry.track.active and entry.alarm.occurrence is None:
            # What fell silent with its broker or line has its whole time again to be heard once that is back.
            heard = no_data.granted_anew(entry.track, turn.now)
            turn.judged(key, entry, heard, [Condition(key, False, turn.now.utc_ms, None)])
            entry = turn.entries[key]
        event = AlarmEvent.RELEASE_ACTIVE if entry.track.active else AlarmEvent.RELEASE_NORMAL
        turn.apply(key, event, Cause(turn.now.utc_ms, entry.condition))


class _Turn:
    """The working state of one turn; nothing of it outlives the turn but what TurnResult takes."""

    def __init__(self, entries: dict[str, LimitRecord], now: Now, next_occurrence: Callable[[], str]) -> None:
        self.entries = entries
        self.now = now
        self.next_occurrence = next_occurrence
        self.before: dict[str, LimitRecord | None] = {}
        self.changes: dict[str, list[Condition]] = {}
        self.removed: list[str] = []
        self.transitions: list[Transition] = []
        self.outcomes: list[tuple[int, str]] = []

    def put(self, key: str, entry: LimitRecord) -> None:
        if key not in self.before:
            self.before[key] = self.entries.get(key)
        self.entries[key] = entry

    def judged(self, key: str, entry: LimitRecord, track: Track, changes: Sequence[Condition]) -> None:
        if track is not entry.track:
            self.put(key, LimitRecord(entry.rule, track, entry.alarm))
        if changes:
            self.changes.setdefault(key, []).extend(changes)

    def hold_back(self, key: str, before: Track) -> None:
        """Take back what a limit that the journal quiets must not judge; before: its track when the turn began."""
        entry = self.entries[key]
        if not isinstance(before, LevelTrack) or not isinstance(entry.track, LevelTrack):
            return
        opened = entry.alarm.occurrence is not None
        track, changes = level.held_back(
            before, entry.track, self.changes.pop(key, ()), key=key, opened=opened, now_ms=self.now.utc_ms
        )
        self.judged(key, entry, track, changes)

    def apply(self, key: str, event: AlarmEvent, cause: Cause) -> str:
        """Apply the event; "" or why nothing happened."""
        entry = self.entries[key]
        alarm, transition, why = advance(entry.alarm, event, cause, self.next_occurrence)
        if transition is not None:
            self.put(key, LimitRecord(entry.rule, entry.track, alarm))
            self.transitions.append(transition)
        return why

    def remove(self, key: str) -> None:
        self.apply(key, AlarmEvent.REMOVED, Cause(self.now.utc_ms, self.entries[key].condition))
        del self.entries[key]
        self.before.pop(key, None)
        self.removed.append(key)

    def operate(self, event: OperatorEvent) -> str:
        """Apply what an operator asked for; what to say to the person."""
        if event.kind != "acknowledge":
            return f"not done: '{event.kind}' is not something that this version can do; it can acknowledge"
        target = event.target.strip()
        key = self._key_of(target)
        if key is None:
            return self._not_open(target)
        alarm = self.entries[key].alarm
        cause = Cause(self.now.utc_ms, self.entries[key].condition, by=event.who, asked_ms=event.at_ms, note=event.note)
        why = self.apply(key, AlarmEvent.ACKNOWLEDGE, cause)
        if not why:
            return f"acknowledged: {alarm.occurrence} ({key})"
        if alarm.state is State.ACKNOWLEDGED:
            why += f" (by {alarm.acknowledged_by})"
        return f"nothing done: {alarm.occurrence} ({key}): {why}" if alarm.occurrence else f"nothing done: {key}: {why}"

    def _key_of(self, target: str) -> str | None:
        if target in self.entries:
            return target
        wanted = target.lower()
        return next(
            (key for key, entry in self.entries.items() if _same_id(entry.alarm.occurrence, wanted)),
            None,
        )

    def _not_open(self, target: str) -> str:
        wanted = target.lower()
        for key, entry in self.entries.items():
            if _same_id(entry.alarm.past_occurrence, wanted):
                return f"nothing done: {target} ({key}) is closed already"
        return (
            f"nothing done: no open alarm is called '{target}'; it may be closed already or misspelt. "
            "Give the short id of an open alarm or the key of its limit"
        )


def _same_id(occurrence: str | None, wanted: str) -> bool:
    return occurrence is not None and occurrence.lower() == wanted


def _carried(entry: LimitRecord, rule: Rule, mono: float) -> Track:
    """The track under an edited rule: the condition stands until it is judged by the new one, running delays are
    dropped.
    """
    track = entry.track
    if (entry.rule.kind, entry.rule.probe) == (rule.kind, rule.probe):
        return replace(track, pending_ms=None) if isinstance(track, LevelTrack) else track
    return fresh_track(rule, mono, active=track.active, since_ms=track.since_ms)


def step(  # the turn is called with these six, in this order
    limits: Mapping[str, EffectiveLimit],
    book: WatchState,
    readings: Sequence[WatchReading],
    events: Sequence[OperatorEvent],
    now: Now,
    next_occurrence: Callable[[], str],
) -> TurnResult:
    """One turn over limits that are indexed for it alone; whoever turns every second keeps a ``Watch``."""
    return Watch(limits).step(book, readings, events, now, next_occurrence)
