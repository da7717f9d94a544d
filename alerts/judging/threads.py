"""Slow judgements, worked out aside: a thread for each judge, beside the turn and never in it.

A judge answers when what it needs has changed, and at least every ten minutes, so that the turn can tell an old
judgement from a young one. One that raises, or works for too long, is logged once a minute and shown by `leeside now`;
the others and the turn go on. What it judged last then grows old, and limits on it hold their state.
"""

from __future__ import annotations

__all__ = ["BOUND_S", "Judging", "SeenChanges", "is_due"]

import logging
import sqlite3
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from threading import Event, Thread
from typing import Final, NamedTuple

from alerts.judging.judge import Judge, Need
from ingest.cellar import Cellar
from ingest.errors import IngestError
from ingest.pulse import JudgePulse
from ingest.store import Store, open_existing
from ingest.store.connection import translate
from ingest.store.journal.journal_version import journal_version
from ingest.store.judgements import drop_old_judgements, keep_judgements

log = logging.getLogger("alerts")

# How often a judge's thread looks for changes.
LOOK_S: Final = 1.0
# New readings come all the time: so often at most they are a reason to judge again.
READINGS_S: Final = 60.0
# And so often at least it judges, whatever has changed: time itself changes an answer.
IDLE_S: Final = 600.0
# A judge that raised is asked again after so long, or when the journal has changed.
AGAIN_S: Final = 60.0
# An answer may take so long; docs/operations.md states this number.
BOUND_S: Final = 30.0
WARN_AGAIN_S: Final = 60.0
_TIDY_S: Final = 86_400.0
_LONGEST_ERROR: Final = 300


class SeenChanges(NamedTuple):
    """What tells one state of the store from a later one. readings: the last row of fresh readings; journal: counts of
    entries, strikes and cellar files.
    """

    readings: int = 0
    journal: tuple[int, ...] = ()


def is_due(needs: frozenset[Need], before: SeenChanges, now: SeenChanges, passed_s: float, *, failed: bool) -> bool:
    """Whether a judge should answer again.

    before: what there was when it began last; passed_s: seconds since then; failed: it raised.
    """
    if "journal" in needs and now.journal != before.journal:
        return True
    if failed:
        return passed_s >= AGAIN_S
    return passed_s >= (READINGS_S if "readings" in needs and now.readings != before.readings else IDLE_S)


class Judging:
    """The judges' threads, until ``stop`` is called. wall_ms: gives the time, UTC milliseconds."""

    def __init__(self, cellar: Cellar, judges: Sequence[Judge], wall_ms: Callable[[], int]) -> None:
        self._stopping = Event()
        self._seats = [_Seat(cellar, judge, wall_ms, self._stopping) for judge in judges]

    def start(self) -> None:
        """Start a thread for each judge."""
        for seat in self._seats:
            seat.start()

    def look_after(self) -> None:
        """Start a thread again that has ended, and warn of judges that work for too long; called every second."""
        for seat in self._seats:
            seat.look_after()

    def pulse(self) -> dict[str, JudgePulse]:
        """Return how each judge does, by its name."""
        return {seat.judge.name: seat.pulse() for seat in self._seats}

    def stop(self) -> None:
        """Let no judge begin again. One that works is waited for a moment: its thread does not hold up the end."""
        self._stopping.set()
        for seat in self._seats:
            seat.join(1.0)


class _Seat:
    """One judge with its thread, its own look at the store, and how it does."""

    def __init__(self, cellar: Cellar, judge: Judge, wall_ms: Callable[[], int], stopping: Event) -> None:
        self.judge = judge
        self._cellar = cellar
        self._wall_ms = wall_ms
        self._stopping = stopping
        self._thread: Thread | None = None
        self._seen = SeenChanges()
        self._began: float | None = None
        self._working = False
        self._warned = float("-inf")
        self._tidied = float("-inf")
        self._last_ms: int | None = None
        self._took_s = 0.0
        self._error: str | None = None

    def start(self) -> None:
        self._thread = Thread(target=self._work, name=f"judge {self.judge.name}", daemon=True)
        self._thread.start()

    def join(self, seconds: float) -> None:
        if self._thread is not None:
            self._thread.join(seconds)

    def look_after(self) -> None:
        if self._stopping.is_set():
            return
        if self._thread is not None and not self._thread.is_alive() and self._may_warn():
            log.error("the thread of the judge %s has ended; it is started again", self.judge.name)
            self._working, self._began = False, None
            self.start()
        working_s = self._working_s()
        if working_s > BOUND_S and self._may_warn():
            log.warning(
                "the judge %s has been working for %.0f s, where %.0f s are allowed; until it has answered, limits on "
                "what it judges hold their state",
                self.judge.name,
                working_s,
                BOUND_S,
            )

    def pulse(self) -> JudgePulse:
        working_s = self._working_s()
        return JudgePulse(
            last_ms=self._last_ms,
            took_s=round(self._took_s, 3),
            overdue_s=round(working_s, 1) if working_s > BOUND_S else 0.0,
            last_error=self._error,
        )

    def _working_s(self) -> float:
        began = self._began
        return time.monotonic() - began if self._working and began is not None else 0.0

    def _work(self) -> None:
        path = self._cellar.store_path
        with open_existing(path) as store:
            while not self._stopping.is_set():
                try:
                    self._look(store, path)
                except IngestError as error:
                    self._failed(str(error))
                except Exception as error:  # noqa: BLE001  the top of a thread; it is logged with its trace
                    self._failed(f"{type(error).__name__}: {error}".rstrip(": "), trace=True)
                self._stopping.wait(LOOK_S)

    def _look(self, store: Store, path: Path) -> None:
        """Judge if that is due, and keep the answer."""
        try:
            changes = _changes(store)
        except sqlite3.Error as error:
            raise translate(error, path) from error
        mono = time.monotonic()
        passed_s = float("inf") if self._began is None else mono - self._began
        if not is_due(self.judge.needs, self._seen, changes, passed_s, failed=self._error is not None):
            return
        self._seen, self._began, self._working = changes, mono, True
        try:
            now_ms = self._wall_ms()
            answer = self.judge.judge(self._cellar, store, now_ms)
            self._took_s = time.monotonic() - mono
            if self._stopping.is_set():
                return
            with store.write() as connection:
                keep_judgements(connection, self.judge.name, answer)
            self._last_ms, self._error = now_ms, None
        finally:
            self._working = False
        if mono - self._tidied >= _TIDY_S and not drop_old_judgements(store, now_ms):
            self._tidied = mono

    def _failed(self, error: str, *, trace: bool = False) -> None:
        self._error = error[:_LONGEST_ERROR]
        if self._may_warn():
            log.warning(
                "the judge %s failed, it is asked again in a minute: %s", self.judge.name, error, exc_info=trace
            )

    def _may_warn(self) -> bool:
        now = time.monotonic()
        if now - self._warned < WARN_AGAIN_S:
            return False
        self._warned = now
        return True


def _changes(store: Store) -> SeenChanges:
    readings = store.connection.execute("SELECT coalesce(max(id), 0) FROM fresh").fetchone()[0]
    return SeenChanges(readings, journal_version(store))
