"""One turn with the store at both ends: what is new goes in, what it means is committed in one transaction."""

from __future__ import annotations

__all__ = ["Turner", "occurrence_id"]

import logging
import sqlite3
from collections.abc import Callable, Sequence
from typing import Final

from alerts.message.posting import Poster
from alerts.message.wording import ShownReading
from alerts.watch.alarm import Transition
from alerts.watch.journal_suppression import JournalSuppression
from alerts.watch.own_limits import good_probe, readings_of_backup, readings_of_pulse, watched_limits
from alerts.watch.turn import TurnResult, Watch
from alerts.watch.turn_inputs import Now, OperatorEvent, WatchReading, counts_as_data, may_be_judged
from alerts.watch.watch_state import WatchState
from ingest.cellar import Cellar
from ingest.probes.binding import declarations
from ingest.pulse import PULSE_S, AlertsPulse, BackupPulse
from ingest.store import Store
from ingest.store.alarms.alarm_record import (
    AlarmRow,
    TransitionRow,
    add_transition,
    alarm_rows,
    put_alarm,
    remove_alarm,
)
from ingest.store.alarms.messages import count_waiting
from ingest.store.alarms.operator_events import mark_applied, waiting_events
from ingest.store.backup.making import backups_since, last_backup_ms
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.journal.begun_rackings import Rackings
from ingest.store.journal.stored_ledger import EmptyVessels
from ingest.store.pulse_rows import pulses, write_pulse
from ingest.store.readings.scales import newest_part_id, scales, value_at
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import first_fresh_since, fresh_after, judged_until, newest
from ingest.store.readings.undated import DATED

log = logging.getLogger("alerts")

_TURN: Final = "turn"
_OCCURRENCE: Final = "occurrence"

# After a long stop the readings are judged in pieces, so that a turn stays short.
MOST_A_TURN: Final = 20_000
# Without a place of its own from before, the turn begins with what came in the last ten minutes.
FIRST_LOOK_MS: Final = 10 * 60 * 1000
SHOWN_READINGS: Final = 10

# Without 0, 1, i, l and o: an id is read off a phone and typed with cold fingers.
_LETTERS: Final = "23456789abcdefghjkmnpqrstuvwxyz"


def occurrence_id(number: int) -> str:
    """The short id of an occurrence by its number (1, 2, ...): three letters or more, another for each number."""
    rest = number + len(_LETTERS) ** 2 - 1
    letters = ""
    while rest:
        rest, index = divmod(rest, len(_LETTERS))
        letters = _LETTERS[index] + letters
    return letters


class Turner:
    """Holds the book between turns. The store is changed only by a turn that has something to keep.

    A turn whose commit fails leaves book and place as they were; the next one judges the same readings again.
    backup: what the pulse says about backups, None where none are made.
    """

    def __init__(
        self, cellar: Cellar, store: Store, now: Now, backup: Callable[[], BackupPulse | None] = lambda: None
    ) -> None:
        self._backup = backup
        self._store = store
        limits = watched_limits(cellar)
        self._watch = Watch(limits)
        self.limit_count = len(limits)
        self._quiet = JournalSuppression(limits)
        self._empty = EmptyVessels(store)
        self._rackings = Rackings(store)
        self._started_ms = now.utc_ms
        series = declare(store, declarations(cellar), now.utc_ms)
        self._probe_of = {number: probe for probe, number in series.items()}
        self._series_of = series
        self._scales = {number: scales(store, number) for number in self._probe_of}
        self._newest_part = newest_part_id(store)
        place = cursor(store, _TURN)
        self._place = first_fresh_since(store, now.utc_ms - FIRST_LOOK_MS) if place is None else place
        self._occurrences = cursor(store, _OCCURRENCE) or 0
        self._book = self._load_book(now)
        self._poster = Poster(cellar, limits, self._last_readings)
        self._pulse_due = now.mono
        self._pulse_seen = 0
        self._datings = cursor(store, DATED)
        self._backups_since = None if cellar.backup is None else backups_since(store, now.utc_ms)

    def _load_book(self, now: Now) -> WatchState:
        judged = judged_until(self._store, self._place)
        newest_ms = {self._probe_of[number]: at for number, at in judged.items() if number in self._probe_of}
        return WatchState.from_rows({row.key: row.entry for row in alarm_rows(self._store)}, now.mono, newest_ms)

    def _last_readings(self, probe: str) -> Sequence[ShownReading]:
        number = self._series_of.get(probe)
        if number is None:
            return ()
        return [ShownReading(row.at_ms, row.value) for row in newest(self._store, number, SHOWN_READINGS)]

    def turn(self, now: Now) -> int:
        """Judge what is new; the number of messages that it caused. Raises StoreError when it cannot be kept."""
        datings = cursor(self._store, DATED)
        if datings != self._datings:
            # The board's clock came right and estimated times were moved; what is judged next may be of an earlier
            # time.
            self._book, self._datings = self._book.redated(), datings
        rows = fresh_after(self._store, self._place, MOST_A_TURN)
        if rows:
            self._renew_scales()
        readings = self._readings(rows)
        ingest = pulses(self._store).ingest
        if ingest is not None and ingest.at_ms != self._pulse_seen:
            readings += readings_of_pulse(ingest.at_ms, ingest.body)
        if self._backups_since is not None and now.mono >= self._pulse_due:
            readings += readings_of_backup(now.utc_ms, last_backup_ms(self._store), self._backups_since)
        events = [
            OperatorEvent(event.id, event.kind, event.target, event.who, event.written_ms, event.note)
            for event in waiting_events(self._store)
        ]
        given = self._occurrences

        def next_occurrence() -> str:
            nonlocal given
            given += 1
            return occurrence_id(given)

        quiet = self._quiet.keys(self._empty.at(now.utc_ms), self._rackings.vessels(now.utc_ms))
        result = self._watch.step(self._book, readings, events, now, next_occurrence, quiet)
        place = rows[-1][0] if rows else self._place
        messages = 0
        pulse_is_due = now.mono >= self._pulse_due
        if pulse_is_due or result.changed or result.removed or result.transitions or result.outcomes:
            with self._store.write() as connection:
                messages = self._keep(connection, result, now)
                set_cursor(connection, _TURN, place)
                set_cursor(connection, _OCCURRENCE, given)
                if pulse_is_due:
                    write_pulse(connection, self._pulse(place), now.utc_ms, self._started_ms)
        if pulse_is_due:
            self._pulse_due = now.mono + PULSE_S
        if ingest is not None:
            self._pulse_seen = ingest.at_ms
        self._book, self._place, self._occurrences = result.book, place, given
        return messages

    def _pulse(self, place: int) -> AlertsPulse:
        pulse = AlertsPulse(
            limits=self.limit_count, judged_until_row=place, waiting_messages=count_waiting(self._store)
        )
        backup = self._backup()
        return pulse if backup is None else pulse.model_copy(update={"backup": backup})

    def _renew_scales(self) -> None:
        """A calibration or the barometer may have changed what numbers mean since the last turn."""
        newest_part = newest_part_id(self._store)
        if newest_part != self._newest_part:
            self._scales = {number: scales(self._store, number) for number in self._probe_of}
            self._newest_part = newest_part

    def _readings(self, rows: Sequence[tuple[int, int, int, float, int]]) -> list[WatchReading]:
        readings = []
        good: dict[str, WatchReading] = {}
        for _, series, at, number, quality in rows:
            probe = self._probe_of.get(series)
            if probe is not None:
                reading = WatchReading(probe, at, value_at(self._scales[series], at, number), quality)
                readings.append(reading)
                if may_be_judged(reading.value, quality) and counts_as_data(quality):
                    good[probe] = reading
        # That there was a good one is all that the limit on bad measurement asks.
        readings += [reading._replace(probe=good_probe(probe)) for probe, reading in good.items()]
        return readings

    def _keep(self, connection: sqlite3.Connection, result: TurnResult, now: Now) -> int:
        for key, entry in result.changed.items():
            alarm = entry.alarm
            put_alarm(connection, AlarmRow(key, str(alarm.state), alarm.occurrence, entry.to_json(), now.utc_ms))
        for key in result.removed:
            remove_alarm(connection, key)
        told = []
        for transition in result.transitions:
            told.append((add_transition(connection, _journal_row(transition)), transition))
            log.info("%s: %s -> %s (%s)", transition.key, transition.from_state, transition.to_state, transition.event)
        for event, outcome in result.outcomes:
            mark_applied(connection, event, outcome, now.utc_ms)
        return self._poster.post(connection, told, now.utc_ms)


def _journal_row(transition: Transition) -> TransitionRow:
    return TransitionRow(
        at_ms=transition.at_ms,
        key=transition.key,
        occurrence=transition.occurrence,
        event=str(transition.event),
        from_state=str(transition.from_state),
        to_state=str(transition.to_state),
        value=transition.value,
        who=transition.by or "",
        note=transition.note,
    )
