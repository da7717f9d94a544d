"""What a turn reports beside its alarms: gaps in the watch, the end of floods, unfinished rackings, a wrong clock."""

from __future__ import annotations

__all__ = ["DueReports", "TurnReports"]

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

from alerts.message import FloodEnd, RackingReminders, put_report, wrong_future
from alerts.message.racking_reminders import RackingReminder
from alerts.message.standing import standing_alarms, standing_line
from alerts.turning.gap import Gap
from alerts.watch.turn_inputs import Now
from alerts.watch.watch_state import WatchState
from ingest.cellar import Cellar, EffectiveLimit
from ingest.journal.open_rackings import OpenRacking
from ingest.store import Store
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.readings.undated import FORGOTTEN, FORGOTTEN_FUTURE

# The last wrong future that was reported.
_FORGOTTEN: Final = "turn clock"


class DueReports(NamedTuple):
    """What is to be reported.

    gap: that nothing was watched for a while; gap_is_new: the store does not know of it yet; flood_over: to whom, that
    a flood is over; reminders: of rackings; forgotten: the number of the last wrong future, None if there was none;
    wrong_future_ms: that future, where it was not reported yet.
    """

    gap: bool
    gap_is_new: bool
    flood_over: Sequence[str]
    reminders: Sequence[RackingReminder]
    forgotten: int | None
    wrong_future_ms: int | None

    @property
    def is_any(self) -> bool:
        """Whether there is something to report."""
        return bool(self.gap or self.gap_is_new or self.flood_over or self.reminders or self.wrong_future_ms)


class TurnReports:
    """Looks in each turn for what is to be reported. gap: takes what the turn knows of gaps."""

    def __init__(self, cellar: Cellar, store: Store, limits: Mapping[str, EffectiveLimit], now: Now) -> None:
        self._cellar = cellar
        self._store = store
        self._limits = limits
        self.gap = Gap(cellar, store, limits, now)
        self._flood_end = FloodEnd(cellar, store)
        self._reminders = RackingReminders(cellar)

    def watch(self, limits: Mapping[str, EffectiveLimit]) -> None:
        """Take the limits that are watched from now on."""
        self._limits = limits
        self.gap.watch(limits)

    def look(self, begun: Iterable[OpenRacking], now: Now, *, is_caught_up: bool) -> DueReports:
        """See what is to be reported. begun: rackings that are not finished; is_caught_up: all readings are judged."""
        forgotten = cursor(self._store, FORGOTTEN)
        wrong = cursor(self._store, FORGOTTEN_FUTURE) if forgotten != cursor(self._store, _FORGOTTEN) else None
        return DueReports(
            self.gap.is_ready(now, is_caught_up=is_caught_up),
            self.gap.has_news,
            self._flood_end.over_for(now.utc_ms),
            self._reminders.due(self._store.connection, begun, now.utc_ms),
            forgotten,
            wrong,
        )

    def put(self, connection: sqlite3.Connection, due: DueReports, state: WatchState, now: Now) -> int:
        """Put it into the outbox, after the messages of the turn; inside its transaction. The number of messages."""
        zone, count = self._cellar.site.zone, 0
        if due.wrong_future_ms is not None:
            text = wrong_future(due.wrong_future_ms, self._cellar.file, zone)
            count += put_report(connection, text, self._cellar, f"clock-{due.wrong_future_ms}", now.utc_ms)
        if due.forgotten is not None:
            set_cursor(connection, _FORGOTTEN, due.forgotten)
        count += self._reminders.put(connection, due.reminders, now.utc_ms)
        if due.flood_over:
            keys = standing_alarms(state.records, self._limits)
            standing = [standing_line(state.records[key], self._limits[key], zone) for key in keys]
            count += self._flood_end.report(connection, due.flood_over, standing, now.utc_ms)
        return count + self.gap.keep(connection, state, now, report=due.gap)

    def stored(self, due: DueReports, messages: int) -> None:
        """The transaction was committed. messages: how many the whole turn wrote."""
        self.gap.kept(reported=due.gap)
        self._flood_end.look(messages)
