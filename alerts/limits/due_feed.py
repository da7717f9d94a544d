"""From the journal to limits on work that falls due, and to what those are judged by."""

from __future__ import annotations

__all__ = ["DueFeed", "due_limits_at"]

import logging
import sqlite3
from collections.abc import Mapping

from alerts.watch.alarm_table import State
from alerts.watch.due import DueLimit, due_limits, limit_of_gone_work
from alerts.watch.turn_inputs import DueFact
from alerts.watch.watch_state import LimitRecord
from ingest.cellar import Cellar, EffectiveLimit, due_rules
from ingest.errors import IngestError
from ingest.store import Store
from ingest.store.journal.awaited_work_rows import awaited_work
from ingest.store.journal.journal_version import journal_version
from ingest.times import END_OF_TIME_MS

log = logging.getLogger("alerts")


def due_limits_at(cellar: Cellar, connection: sqlite3.Connection, now_ms: int) -> dict[str, DueLimit]:
    """Make the limits on due work as of a time (UTC ms), by key; call inside a transaction.

    A clock that is behind what was written takes nothing back: the journal is then read as of the newest entry.
    """
    written_ms = connection.execute("SELECT max(written_ms) FROM entry").fetchone()[0] or 0
    return due_limits(due_rules(cellar.limit), awaited_work(connection, cellar, max(now_ms, written_ms)))


class DueFeed:
    """The limits on due work as the journal is now. It is read again only when it changed.

    limits: by key, with those of alarms whose work is no longer awaited, so that they return to normal.
    """

    def __init__(self, cellar: Cellar, store: Store) -> None:
        self._cellar = cellar
        self._store = store
        self.limits: dict[str, EffectiveLimit] = {}
        self._facts: dict[str, DueFact | None] = {}
        self._version: tuple[int, ...] | None = None
        self._valid = range(0)
        self._next_ms = self._taken_until_ms = 0

    def renew(self, now_ms: int, records: Mapping[str, LimitRecord]) -> bool:
        """Read the journal if it changed; whether the limits are others now. records: of all limits, by key."""
        version = journal_version(self._store)
        if version == self._version and now_ms in self._valid:
            return False
        try:
            with self._store.read() as connection:
                due = due_limits_at(self._cellar, connection, now_ms)
                # A clock that runs ahead may have written what has yet to happen.
                ahead = connection.execute("SELECT min(at_ms) FROM entry WHERE at_ms > ?", (now_ms,)).fetchone()[0]
        except IngestError as error:
            log.warning("which work is due cannot be worked out, what was known stands: %s", error)
            due, ahead = None, None
        is_first = self._version is None
        self._version = version
        self._valid = range(now_ms, END_OF_TIME_MS if ahead is None else ahead)
        open_alarms = {
            key: limit_of_gone_work(key, record.rule.setpoint)
            for key, record in records.items()
            if record.rule.kind == "due" and record.alarm.state is not State.NORMAL
        }
        if due is None:
            if is_first:
                self.limits = open_alarms  # they stand as they are
            return is_first and bool(open_alarms)
        gone = {key: limit for key, limit in open_alarms.items() if key not in due}
        limits = {**{key: each.limit for key, each in due.items()}, **gone}
        self._facts = {**{key: each.fact for key, each in due.items()}, **dict.fromkeys(gone)}
        self._taken_until_ms = 0
        is_other = limits != self.limits
        self.limits = limits
        return is_other

    def facts(self, now_ms: int) -> Mapping[str, DueFact | None]:
        """Give what limits are judged by, where something may have changed by now (UTC ms); else nothing."""
        if now_ms < self._taken_until_ms:
            return {}
        moments = (fact.due_ms for fact in self._facts.values() if fact is not None and fact.due_ms > now_ms)
        self._next_ms = min(moments, default=END_OF_TIME_MS)
        return self._facts

    def taken(self) -> None:
        """Give what was given last not again until something changes: the turn that took it has been kept."""
        self._taken_until_ms = self._next_ms
