"""The working state of one turn: records as they stand so far, and the steps that were taken."""

from __future__ import annotations

__all__ = ["OpenTurn"]

from collections.abc import Callable, Sequence
from dataclasses import replace

from alerts.watch import level
from alerts.watch.agenda import Agenda
from alerts.watch.alarm import Cause, Transition, advance
from alerts.watch.alarm_table import AlarmEvent, Occasion
from alerts.watch.condition import Condition
from alerts.watch.level import LevelTrack
from alerts.watch.probe_clock import ProbeClock
from alerts.watch.turn_inputs import Now
from alerts.watch.watch_state import LimitRecord, Track


class OpenTurn:
    """The working state of one turn; only what TurnResult takes outlives it."""

    def __init__(
        self,
        records: dict[str, LimitRecord],
        clocks: dict[str, ProbeClock],
        agenda: Agenda,
        now: Now,
        next_occurrence: Callable[[], str],
    ) -> None:
        self.records = records
        self.clocks = clocks
        self.agenda = agenda
        self.now = now
        self.next_occurrence = next_occurrence
        self.before: dict[str, LimitRecord | None] = {}
        self.changes: dict[str, list[Condition]] = {}
        self.removed: list[str] = []
        self.transitions: list[Transition] = []
        self.outcomes: list[tuple[int, str]] = []

    def put(self, key: str, record: LimitRecord) -> None:
        """Replace a limit's record, and remember how it was when the turn began."""
        if key not in self.before:
            self.before[key] = self.records.get(key)
        self.records[key] = record
        self.agenda.note(key, record, self.now.mono)

    def judged(self, key: str, track: Track, changes: Sequence[Condition]) -> None:
        """Take how far a limit's judgement has come, and the changes of its condition, oldest first."""
        record = self.records[key]
        if track is not record.track:
            if key not in self.before:
                self.before[key] = record
            self.records[key] = record.tracked(track)
            self.agenda.note_track(key, track, self.now.mono)
        if changes:
            self.changes.setdefault(key, []).extend(changes)

    def hold_back(self, key: str, before: Track) -> None:
        """Take back what a limit that the journal quiets must not judge. before: its track when the turn began."""
        record = self.records[key]
        if not isinstance(before, LevelTrack) or not isinstance(record.track, LevelTrack):
            return
        # A change that nothing remembers any more has ended: what comes next would be no end of it.
        opened = record.alarm.occurrence is not None and record.rule.kind != "rate"
        track, changes = level.held_back(
            before, record.track, self.changes.pop(key, ()), key=key, opened=opened, now_ms=self.now.utc_ms
        )
        # A rate of change begins again with the wine that comes next.
        self.judged(key, replace(track, window=None) if track.window is not None else track, changes)

    def apply(self, key: str, event: AlarmEvent, cause: Cause) -> str:
        """Apply the event; "" or why nothing happened."""
        record = self.records[key]
        alarm, transition, why = advance(record.alarm, event, cause, self.next_occurrence)
        if transition is not None:
            chatter, occasion = record.chatter.after(transition.occasion, transition.occurrence, cause.at_ms)
            if occasion is Occasion.CHATTERING:
                transition = replace(transition, chatter=chatter)
            elif occasion is Occasion.CALM:
                # Its message follows up the report, whatever occurrences there were since.
                transition = replace(transition, chatter=record.chatter, occurrence=record.chatter.occurrence)
            self.put(key, replace(record, alarm=alarm, chatter=chatter))
            self.transitions.append(replace(transition, occasion=occasion))
        return why

    def remove(self, key: str, note: str = "") -> None:
        """Close what is open of a limit that has gone, and drop its record. note: why it has gone."""
        self.apply(key, AlarmEvent.REMOVED, Cause(self.now.utc_ms, self.records[key].condition, note=note))
        del self.records[key]
        self.agenda.drop(key)
        self.before.pop(key, None)
        self.removed.append(key)
