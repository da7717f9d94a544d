"""One turn with the store at both ends: what is new goes in, what it means is committed in one transaction."""

from __future__ import annotations

__all__ = ["Turner", "occurrence_id"]

import logging
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from itertools import count
from typing import Final

from alerts.channels.lamp_state import LampState, lamp_states
from alerts.limits.due_feed import DueFeed
from alerts.message import DirectMessages, Notifier, Reminders
from alerts.so2.limits import possible_so2_limits, so2_limits
from alerts.turning.judgement_feed import JudgementFeed
from alerts.turning.message_background import StoredBackground
from alerts.turning.reading_feed import ReadingFeed
from alerts.turning.start_state import away_s, state_at_start
from alerts.turning.turn_reports import TurnReports
from alerts.turning.without_store import Shadow, WithoutStore
from alerts.view.alarms.record_lines import step_words
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import State
from alerts.watch.applied_limits import AppliedLimits, applied_limits
from alerts.watch.journal_suppression import JournalSuppression
from alerts.watch.own_health import backup_health, channel_health, health_of_pulse, judge_health
from alerts.watch.own_limits import channels_in_use
from alerts.watch.turn import TurnResult, Watch
from alerts.watch.turn_inputs import Now, TurnInputs
from alerts.watch.watch_state import WatchState
from ingest.cellar import Cellar, EffectiveLimit, Priority
from ingest.errors import IngestError
from ingest.probes.binding import declarations
from ingest.pulse import PULSE_S, AlertsPulse, BackupPulse, HeartbeatPulse, IngestPulse, JudgePulse, Pulse
from ingest.reading import Row
from ingest.store import Store
from ingest.store.alarms.alarm_record import (
    AlarmRow,
    TransitionRow,
    add_transition,
    put_alarm,
    remove_alarm,
)
from ingest.store.alarms.messages import count_waiting, failing_channels
from ingest.store.alarms.operator_events import mark_applied, waiting_events
from ingest.store.backup.making import backups_since, last_backup_ms
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.connection import BUSY_WAIT_S, translate
from ingest.store.journal.vessel_use import VesselUse, VesselUseCache
from ingest.store.pulse_rows import pulses, write_pulse
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import first_fresh_since, fresh_after
from ingest.store.readings.undated import DATED

log = logging.getLogger("alerts")

_TURN: Final = "turn"
_OCCURRENCE: Final = "occurrence"
# The counter of the newest pulse of ingest that was judged.
_PULSE: Final = "turn pulse"

# The pulse is written right after that of ingest: what the file system itself writes for a commit is then written once
# for both. Where ingest is late or dead it is not waited for.
LATE_PULSE_S: Final = 2.0
FOLLOW_S: Final = 10.0

# What comes at once, such as a backlog, is judged in pieces, so that a turn stays short; the next follows at once.
MOST_A_TURN: Final = 20_000
# Without a place of its own from before, the turn begins with what came in the last ten minutes.
FIRST_LOOK_MS: Final = 10 * 60 * 1000

# For how long a turn waits for the store's lock while limits are judged in memory.
SHORT_WAIT_S: Final = 1.0
# A limit on silence that has heard nothing for so long does not begin again at a restart.
SILENCE_KEPT_S: Final = 10.0

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
    """Holds the state of the watch between turns. The store is changed only by a turn that has something to keep.

    A turn whose commit fails leaves the state as it was; the next one judges the same readings again. backup: what the
    pulse says about backups, None where none are made; lamps: why each channel of
    kind mqtt does not show the alarms at present, "" where it does; heartbeat: how that does, None where none is sent.
    """

    def __init__(
        self,
        cellar: Cellar,
        store: Store,
        now: Now,
        backup: Callable[[], BackupPulse | None] = lambda: None,
        without_store: WithoutStore | None = None,
        judges: Callable[[], dict[str, JudgePulse]] = dict,
        lamps: Callable[[], dict[str, str]] = dict,
        heartbeat: Callable[[], HeartbeatPulse | None] = lambda: None,
    ) -> None:
        self._store = store
        self._backup = backup
        self._judges = judges
        self._lamps = lamps
        self._heartbeat = heartbeat
        self._channels = channels_in_use(cellar)
        self._started_ms = now.utc_ms
        self._cellar = cellar
        self._vessel_use = VesselUseCache(store)
        self._use = VesselUse(frozenset(), frozenset())
        self._use = self._use_at(now)
        self._possible_so2 = possible_so2_limits(cellar)
        applied = self._applied({})
        self._limits = limits = applied.watched
        self.limit_count = len(limits)
        self._watch = Watch(limits, applied.notes)
        self._without_store = without_store or WithoutStore(cellar, DirectMessages(lambda: 0.0))
        self._suppression = JournalSuppression(limits)
        self._judgements = JudgementFeed(store, limits)
        self._due = DueFeed(cellar, store)
        self._series_of = declare(store, declarations(cellar), now.utc_ms)
        self._background = StoredBackground(cellar, store, self._series_of)
        self._notifier = Notifier(cellar, {**applied.absent, **limits}, self._background)
        self._feed = ReadingFeed(store, self._series_of)
        self._datings = cursor(store, DATED)
        judged_id = cursor(store, _TURN)
        self._judged_id = first_fresh_since(store, now.utc_ms - FIRST_LOOK_MS) if judged_id is None else judged_id
        self._occurrences = cursor(store, _OCCURRENCE) or 0
        stored_pulse = pulses(store).alerts
        self._reports = TurnReports(cellar, store, limits, now)
        self._reports.gap.notice(away_s(stored_pulse, now), self._judged_id, now)
        self._state = state_at_start(
            store, self._watch, limits, self._series_of, self._feed, self._judged_id, stored_pulse, now
        )
        self._reminders = Reminders(cellar)
        self._reminders.see(self._state.records, limits)
        self._last_turn: Now = now
        self._tried: Now = now
        self._pulse_due = now.mono
        self._seen_version = -1
        self._has_more = False
        # What the store holds at the start may be of a daemon that has ended since: only a later pulse is news, or one
        # that the turns before the start did not see.
        stored, seen = pulses(store).ingest, cursor(store, _PULSE)
        self._pulse_seen = _identity(stored) if stored and seen in (None, stored.beat.counter) else None
        self._backups_since_ms = None if cellar.backup is None else backups_since(store, now.utc_ms)

    def _use_at(self, now: Now) -> VesselUse:
        """Where which wine lies; where nobody knows, what was known stands."""
        try:
            return self._vessel_use.at(now.utc_ms)
        except IngestError as error:
            log.warning("where wine lies cannot be worked out, what was known stands: %s", error)
            return self._use

    def _applied(self, due: Mapping[str, EffectiveLimit]) -> AppliedLimits:
        written = self._cellar.limits_with(self._use.wine)
        so2 = so2_limits(self._cellar, self._use.said, written)
        return applied_limits(self._cellar, self._use.wine, {**so2, **due}, self._possible_so2)

    def _renew_limits(self, now: Now) -> None:
        """Watch other limits from now on, if what the journal says has changed which there are."""
        before, self._use = self._use, self._use_at(now)
        is_moved = self._cellar.has_limits_on_wine and self._use.wine != before.wine
        if not self._due.renew(now.utc_ms, self._state.records) and not is_moved and self._use.said == before.said:
            return
        applied = self._applied(self._due.limits)
        self._limits, self.limit_count = applied.watched, len(applied.watched)
        self._watch = Watch(applied.watched, applied.notes)
        announced = {**applied.absent, **applied.watched}
        self._notifier = Notifier(self._cellar, announced, self._background)
        self._suppression = JournalSuppression(applied.watched)
        self._reports.watch(applied.watched)
        self._judgements.watch(applied.watched)
        self._reminders.see(self._state.records, applied.watched)

    def lamp_states(self) -> dict[Priority, LampState]:
        """How many alarms of each priority stand.

        While the store takes no writes they are those that are judged in memory. That is not all (silence is not
        judged), and the store itself is then announced as an alarm of high priority that nobody can acknowledge.
        """
        judged = self._without_store.alarm_states
        if judged is None:
            return lamp_states(((key, record.alarm.state) for key, record in self._state.records.items()), self._limits)
        states = {key: state._replace(known=False) for key, state in lamp_states(judged.items(), self._limits).items()}
        high = states["high"]
        states["high"] = high._replace(standing=high.standing + 1, unacknowledged=high.unacknowledged + 1)
        return states

    def has_news(self) -> bool:
        """Whether another process or thread has changed the store since the last turn began, or that turn left readings
        or judgements for the next. Cheap.
        """
        return self._has_more or self._data_version() != self._seen_version

    def _data_version(self) -> int:
        return int(self._store.connection.execute("PRAGMA data_version").fetchone()[0])

    def turn(self, now: Now) -> int:
        """Judge what is new; the number of messages that it caused. Raises StoreError when it cannot be kept."""
        self._tried = now
        # While limits are judged in memory, waiting for the lock would only make that slower.
        self._store.busy_wait_s = SHORT_WAIT_S if self._without_store.is_judging else BUSY_WAIT_S
        try:
            return self._turn(now)
        except sqlite3.Error as error:
            raise translate(error, self._store.path) from error

    def _turn(self, now: Now) -> int:
        self._seen_version = self._data_version()
        self._reports.gap.notice(now.mono - self._last_turn.mono, self._judged_id, now)
        datings = cursor(self._store, DATED)
        if datings != self._datings:
            # The board's clock came right and estimated times were moved; what is judged next may be of an earlier
            # time.
            self._state, self._datings = self._state.redated(), datings
        self._renew_limits(now)
        rows = fresh_after(self._store, self._judged_id, MOST_A_TURN)
        ingest = pulses(self._store).ingest
        pulse_is_due = self._is_pulse_due(ingest, now)
        inputs = TurnInputs(
            readings=[*self._feed.readings(rows), *self._judgements.readings(now.utc_ms)],
            health=self._health(ingest, now, is_thorough=pulse_is_due),
            events=waiting_events(self._store),
            quiet=self._quiet(now),
            due=self._due.facts(now.utc_ms),
        )
        occurrences = self._occurrences

        def next_occurrence() -> str:
            nonlocal occurrences
            occurrences += 1
            return occurrence_id(occurrences)

        self._reports.gap.see(inputs.readings)
        result = self._watch.turn(self._state, inputs, now, next_occurrence)
        judged_id = rows[-1][0] if rows else self._judged_id
        messages = 0
        vessel_use = self._vessel_use.at(now.utc_ms)
        self._background.wine = vessel_use.wine
        if result.transitions:
            self._reminders.see(result.state.records, self._limits)
        reminders = (
            []
            if self._reports.gap.report_by_ms is not None
            else self._reminders.due(self._store.connection, result.state.records, now.utc_ms)
        )
        has_more = len(rows) == MOST_A_TURN or self._judgements.has_more
        reports = self._reports.look(vessel_use.begun, now, is_caught_up=not has_more)
        news = (result.changed, result.removed, result.transitions, result.outcomes)
        if pulse_is_due or reports.is_any or reminders or any(news):
            with self._store.write() as connection:
                messages = self._keep(connection, result, now)
                messages += self._notifier.follow_up(connection, reminders, now.utc_ms)
                messages += self._reports.put(connection, reports, result.state, now)
                self._without_store.keep(connection, result.transitions, now)
                set_cursor(connection, _TURN, judged_id)
                set_cursor(connection, _OCCURRENCE, occurrences)
                if ingest is not None:
                    set_cursor(connection, _PULSE, ingest.beat.counter)
                # With every commit: what the pulse says of silences belongs to the same moment as the records.
                pulse = self._pulse(judged_id, result.state, now)
                write_pulse(connection, pulse, now.utc_ms, self._started_ms, now.even)
            self._without_store.stored(now)
            self._reports.stored(reports, messages)
            self._reminders.handled(reminders)
            _log_steps(result.transitions)
        if pulse_is_due:
            self._pulse_due = now.mono + PULSE_S + LATE_PULSE_S
        self._judgements.taken()
        self._due.taken()
        self._last_turn = now
        self._pulse_seen = _identity(ingest)
        self._state, self._judged_id, self._occurrences = result.state, judged_id, occurrences
        self._has_more = has_more
        return messages

    def failed(self, error: Exception, now: Now) -> None:
        """A turn raised because the store takes nothing: judge in memory, and send what cannot wait."""
        self._without_store.failed(error, self._tried, now, self._shadow)
        if self._without_store.is_judging:
            # So there is no time in which nothing was judged; the message about the store says what was left out.
            self._last_turn = now

    def _shadow(self) -> Shadow:
        numbers = count(self._occurrences + 1)
        return Shadow(
            self._watch, self._state, self._judged_id, lambda: occurrence_id(next(numbers)), self._unstored_inputs
        )

    def _unstored_inputs(self, judged_id: int, unstored: Sequence[Row], now: Now) -> tuple[TurnInputs, int]:
        quiet = self._without_store.quiet(now)
        rows: Sequence[tuple[int, int, int, float, int]] = ()
        try:
            rows = fresh_after(self._store, judged_id, MOST_A_TURN)
            quiet |= self._quiet(now)
        except (IngestError, sqlite3.Error) as error:
            log.warning("the store cannot be read either: %s", error)
        readings = self._feed.readings([*rows, *((judged_id, *row) for row in unstored)])
        return TurnInputs(readings=readings, quiet=quiet), rows[-1][0] if rows else judged_id

    def _quiet(self, now: Now) -> dict[str, str]:
        use = self._vessel_use.at(now.utc_ms)
        awaiting = [vessel for vessel, said in use.said.items() if said.awaits_malolactic]
        compensated = self._judgements.compensated(now.utc_ms)
        quiet = self._suppression.keys(use.empty, use.racking, awaiting, compensated)
        return {**quiet, **self._without_store.quiet(now)}

    def _health(self, ingest: Pulse[IngestPulse] | None, now: Now, *, is_thorough: bool) -> dict[str, int]:
        health: dict[str, int] = {}
        if ingest is not None and _identity(ingest) != self._pulse_seen:
            health |= health_of_pulse(ingest.at_ms, ingest.body, self._series_of)
        if is_thorough and self._backups_since_ms is not None:
            health |= backup_health(now.utc_ms, last_backup_ms(self._store), self._backups_since_ms)
        if is_thorough:
            dark = [lamp for lamp, trouble in self._lamps().items() if trouble]
            failing = [*failing_channels(self._store), *dark]
            health |= channel_health(now.utc_ms, self._channels, failing)
        return health | judge_health(now.utc_ms, self._judges())

    def _is_pulse_due(self, ingest: Pulse[IngestPulse] | None, now: Now) -> bool:
        is_new = _identity(ingest) != self._pulse_seen
        return now.mono >= self._pulse_due or (is_new and now.mono >= self._pulse_due - FOLLOW_S)

    def _pulse(self, judged_id: int, state: WatchState, now: Now) -> AlertsPulse:
        pulse = AlertsPulse(
            limits=self.limit_count,
            judged_until_row=judged_id,
            waiting_messages=count_waiting(self._store),
            silent_s=state.silences(now.mono, longer_than_s=SILENCE_KEPT_S),
        )
        if judges := self._judges():
            pulse = pulse.model_copy(update={"judges": judges})
        if lamps := self._lamps():
            pulse = pulse.model_copy(update={"lamps": lamps})
        if heartbeat := self._heartbeat():
            pulse = pulse.model_copy(update={"heartbeat": heartbeat})
        backup = self._backup()
        if backup is None:
            return pulse
        # Also one that somebody made by hand since.
        newest = backup.model_copy(update={"last_ms": last_backup_ms(self._store)})
        return pulse.model_copy(update={"backup": newest})

    def _keep(self, connection: sqlite3.Connection, result: TurnResult, now: Now) -> int:
        for key, record in result.changed.items():
            alarm = record.alarm
            put_alarm(
                connection, AlarmRow(key, str(alarm.state), alarm.occurrence, record.to_json(now.boot), now.utc_ms)
            )
        for key in result.removed:
            remove_alarm(connection, key)
        transitions = {}
        for transition in result.transitions:
            transitions[add_transition(connection, _transition_row(transition))] = transition
        for event, outcome in result.outcomes:
            mark_applied(connection, event, outcome, now.utc_ms)
        self._notifier.withdraw(connection, result.transitions, now.utc_ms)
        return self._notifier.notify(connection, transitions, now.utc_ms, report_by_ms=self._reports.gap.report_by_ms)


def _log_steps(transitions: Sequence[Transition]) -> None:
    for step in transitions:
        # As a warning, so that a burst of other steps does not keep it out of the log.
        level = logging.WARNING if step.to_state is State.UNACKNOWLEDGED else logging.INFO
        log.log(level, "%s: %s", step.key, step_words(step.event, step.to_state))


def _identity(pulse: Pulse[IngestPulse] | None) -> tuple[int, int] | None:
    """What differs between two pulses; the time serves where an older version wrote no counter."""
    return None if pulse is None else (pulse.beat.counter, pulse.at_ms)


def _transition_row(transition: Transition) -> TransitionRow:
    return TransitionRow(
        at_ms=transition.at_ms,
        key=transition.key,
        occurrence=transition.occurrence,
        event=str(transition.event),
        from_state=str(transition.from_state),
        to_state=str(transition.to_state),
        value=transition.value,
        who=transition.by or "",
        note=transition.note or (f"{transition.suppressed_by} is active" if transition.suppressed_by else ""),
        finding="" if transition.condition is None else transition.condition.finding,
    )
