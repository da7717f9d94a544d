"""The daily backup: a child process that the scheduler of the alerts daemon starts.

Reading and packing a large store takes minutes. In a child process that runs with low priority and its memory is
released afterwards; the turn goes on meanwhile. When leeside stops, it ends the child.
"""

from __future__ import annotations

__all__ = ["ScheduledBackup"]

import logging
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from threading import Event
from typing import Final

from apscheduler.schedulers.base import BaseScheduler

from ingest.cellar import Cellar
from ingest.pulse import BackupPulse
from ingest.store import open_existing
from ingest.store.backup.making import last_backup_ms

log = logging.getLogger("alerts")

_DAILY: Final = "backup"
_SOON: Final = "backup soon"
# So that it does not compete for the disk with the start and the first readings.
AFTER_START_S: Final = 300.0
AGAIN_S: Final = 3600.0
# A day and an hour: once a year the clocks go back.
MISSED_MS: Final = 25 * 3_600_000
_LOOK_UP_S: Final = 0.5
_LONGEST_ERROR: Final = 500


class ScheduledBackup:
    """The scheduler's jobs for ``[backup]``; none for a cellar without that table."""

    def __init__(self, cellar: Cellar, scheduler: BaseScheduler, stopping: Callable[[], Event]) -> None:
        self._cellar = cellar
        self._scheduler = scheduler
        self._stopping = stopping
        self.last_error: str | None = None
        self.last_ms: int | None = None

    def anchor(self, now_ms: int) -> None:
        """Set up the jobs, at the start and after a step of the clock; a missed backup is made soon. now_ms: UTC ms."""
        settings = self._cellar.backup
        if settings is None:
            return
        self._look()
        self._scheduler.add_job(
            self.run,
            "cron",
            hour=settings.at.hour,
            minute=settings.at.minute,
            timezone=self._cellar.site.zone,
            id=_DAILY,
            replace_existing=True,
        )
        if self.last_ms is None or not 0 <= now_ms - self.last_ms < MISSED_MS:
            self._soon(AFTER_START_S)

    def pulse(self) -> BackupPulse | None:
        """Return what the pulse says about backups; None without ``[backup]``."""
        if self._cellar.backup is None:
            return None
        return BackupPulse(last_ms=self.last_ms, last_error=self.last_error)

    def run(self) -> None:
        """Make a backup. Never raises; one that fails is tried again in an hour."""
        try:
            error = self._run_child()
        except OSError as problem:
            error = f"no process could be started for it: {problem.strerror}"
        self._look()
        if self._stopping().is_set():
            return
        self.last_error = error
        if error is not None:
            log.warning("the backup failed, it is tried again in an hour: %s", error)
            self._soon(AGAIN_S)

    def _run_child(self) -> str | None:
        """Make a backup; return why it failed, None if it did not."""
        command = [sys.executable, "-m", "alerts.command.main", "backup", self._cellar.file, "--low-priority"]
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as child:
            stopping = self._stopping()
            while True:
                try:
                    _, errors = child.communicate(timeout=_LOOK_UP_S)
                    break
                except subprocess.TimeoutExpired:
                    if stopping.is_set():
                        child.terminate()
        if child.returncode == 0:
            log.info("the store has been backed up to %s", self._cellar.backup_folder)
            return None
        # The last line of an unexpected error says most.
        last = errors.strip().rpartition("\n")[2]
        return last[:_LONGEST_ERROR] or f"it ended with code {child.returncode}"

    def _look(self) -> None:
        with open_existing(self._cellar.store_path) as store:
            self.last_ms = last_backup_ms(store)

    def _soon(self, seconds: float) -> None:
        when = datetime.now(UTC) + timedelta(seconds=seconds)
        self._scheduler.add_job(self.run, "date", run_date=when, id=_SOON, replace_existing=True)
