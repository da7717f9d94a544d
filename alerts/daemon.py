"""The alerts daemon: the turn, every second and when there is news, and the outbox.

``python -m alerts.daemon FILE`` is one process.

The scheduler only calls; what to do is decided by pure functions that are given the time. Its interval jobs live on the
wall clock and would stand still for as long as that is set back, so the main thread guards them by the monotonic one.
"""

from __future__ import annotations

__all__ = ["AlertsDaemon", "main"]

import gc
import logging
import os
import random
import sqlite3
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from threading import Event

import sdnotify
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler

from alerts.backups import ScheduledBackup
from alerts.channels.open_channel import lamps
from alerts.channels.sending import Sending
from alerts.digests import ScheduledDigest
from alerts.heartbeat.beats import Heartbeat
from alerts.judging.judges import judges
from alerts.judging.threads import Judging
from alerts.message import DirectMessages
from alerts.turning.turner import Turner
from alerts.turning.without_store import WithoutStore
from alerts.watch.turn_inputs import Now
from ingest.cellar import Cellar
from ingest.errors import IngestError
from ingest.machine_clock import even_time
from ingest.process import orphaned, run_daemon, wall_ms
from ingest.reading import Row
from ingest.store import RoleLock, create_or_open
from ingest.unstored import UnstoredReceiver
from ingest.watchdog import Watchdog

log = logging.getLogger("alerts")

TURN_S = 1.0
GUARD_S = 1.0
# How often the store is asked whether there is something new to judge at once.
LOOK_S = 0.1
# What follows an alarm within this time is judged together, so that several become one mail.
TOGETHER_S = 0.5
# The wall clock and the monotonic one drift apart by this much only when the first is set.
STEP_S = 2.0
# When the last turn is this long ago, the guard sets the job up again, and the watchdog is not fed.
LATE_TURN_S = 10.0
WARN_AGAIN_S = 60.0


class AlertsDaemon:
    """Judges limits and sends messages, until ``stop_event`` is set."""

    def __init__(self, cellar: Cellar, environ: Mapping[str, str]) -> None:
        self._cellar = cellar
        self._environ = environ
        self._lock = RoleLock(cellar.store_path, "alerts")
        started = _now()
        self._store = create_or_open(cellar.store_path, started.utc_ms)
        self.stop_event = Event()
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            executors={"default": ThreadPoolExecutor(2)},
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
        )
        self._backups = ScheduledBackup(cellar, self._scheduler, lambda: self.stop_event)
        self._judging = Judging(cellar, judges(), wall_ms)
        self._unstored = _unstored_receiver(cellar)
        self._direct = DirectMessages(random.random)
        self._sending = Sending(cellar, environ, self._direct, wall_ms)
        self._digest = ScheduledDigest(cellar, self._scheduler, wall_ms, self._sending.wake)
        self._lamps = lamps(cellar, environ)
        without_store = WithoutStore(cellar, self._direct, self._unstored, self._lock.note)
        self._turner = Turner(
            cellar,
            self._store,
            started,
            self._backups.pulse,
            without_store,
            self._judging.pulse,
            lambda: {lamp.channel: lamp.trouble for lamp in self._lamps},
            lambda: self._heartbeat.pulse,
        )
        self._last_turn = time.monotonic()
        self._heartbeat = Heartbeat(cellar, environ, lambda: time.monotonic() - self._last_turn, wall_ms, even_time)
        self._last_messages = float("-inf")
        self._warned = float("-inf")
        self._parent = os.environ.get("LEESIDE_PARENT")
        self._systemd = sdnotify.SystemdNotifier()
        self._watchdog = Watchdog(environ, os.getpid(), time.monotonic())

    def start(self) -> None:
        """Start the scheduler and the outbox."""
        # What has been made so far stays. Looking for garbage in it would make some turns twice as long.
        gc.collect()
        gc.freeze()
        self._scheduler.add_job(self._turn, "interval", seconds=TURN_S, id="turn")
        self._backups.anchor(wall_ms())
        self._digest.anchor(wall_ms())
        self._scheduler.start()
        self._sending.start()
        for lamp in self._lamps:
            lamp.start()
        self._heartbeat.start()
        self._judging.start()
        self._systemd.notify("READY=1")
        log.info("%s: %d limits", self._cellar.site.name, self._turner.limit_count)

    def run(self) -> None:
        """Guard the scheduler and the outbox, until ``stop_event`` is set."""
        offset = time.time() - time.monotonic()
        guard_s = min(GUARD_S, self._watchdog.every_s)
        guard_due = time.monotonic() + guard_s
        while not self.stop_event.wait(LOOK_S) and not orphaned(self._parent):
            self._turn_if_there_is_news()
            now = time.monotonic()
            if now < guard_due:
                continue
            guard_due = now + guard_s
            moved = time.time() - now - offset
            if abs(moved) > STEP_S:
                offset += moved
                log.warning("the clock was set by %+.0f s; delays and jobs go on in their own time", moved)
                self._reanchor_turn()
                self._reanchor_backups()
                self._digest.anchor(wall_ms())
            elif now - self._last_turn > LATE_TURN_S:
                self._reanchor_turn()
            if now - self._last_turn <= LATE_TURN_S and self._watchdog.due(now):
                self._systemd.notify("WATCHDOG=1")
            self._sending.look_after()
            self._heartbeat.look_after()
            self._judging.look_after()

    def stop(self) -> None:
        """Make no more turns, let a message that is being sent finish, close the store."""
        self.stop_event.set()
        self._systemd.notify("STOPPING=1")
        self._scheduler.shutdown(wait=True)
        self._judging.stop()
        self._sending.stop()
        for lamp in self._lamps:
            lamp.stop()
        self._heartbeat.stop()
        self._store.close()
        self._lock.close()

    # ---- the turn ----------------------------------------------------------------------------------------------

    def _turn(self) -> None:
        try:
            if self._turner.turn(_now()):
                self._last_messages = time.monotonic()
                self._sending.wake()
        except IngestError as error:
            self._warn_of_store(error)
            self._turner.failed(error, _now())
            self._sending.wake()
        except Exception:
            log.exception("a turn failed; the next one judges the same readings again")
            return
        self._last_turn = time.monotonic()
        if self._lamps:
            states = self._turner.lamp_states()
            for lamp in self._lamps:
                lamp.show(states)

    def _turn_if_there_is_news(self) -> None:
        if time.monotonic() - self._last_messages < TOGETHER_S:
            return
        try:
            if self._turner.has_news():
                # The interval counts on from this turn. One that is under way sees it, or the next look does.
                self._scheduler.modify_job("turn", next_run_time=datetime.now(UTC))
        except sqlite3.Error as error:
            log.debug("the store could not be asked for news: %s", error)

    def _warn_of_store(self, error: IngestError) -> None:
        """Log it once a minute, for a store can take nothing for long."""
        now = time.monotonic()
        if now - self._warned >= WARN_AGAIN_S:
            self._warned = now
            log.warning("a turn could not be stored, it is tried again: %s", error)

    def _reanchor_turn(self) -> None:
        # An interval job counts from its last wall-clock time; given its interval again, it counts from now.
        self._scheduler.reschedule_job("turn", trigger="interval", seconds=TURN_S)

    def _reanchor_backups(self) -> None:
        try:
            self._backups.anchor(wall_ms())
        except IngestError as error:
            log.warning("when the last backup was made could not be read: %s", error)


def _unstored_receiver(cellar: Cellar) -> Callable[[], Sequence[Row]]:
    """What gives the readings that ingest cannot store; nothing where the socket's address is taken."""
    try:
        return UnstoredReceiver(cellar.store_path).receive
    except OSError as error:
        log.warning("readings cannot be handed over while the store takes none: %s", error)
        return lambda: ()


def _now() -> Now:
    even = even_time()
    return Now(wall_ms(), even.mono, even.boot)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the daemon on a cellar file until SIGTERM or SIGINT. Exit code 0, or 2 when it cannot start."""
    # What the scheduler logs of every added and missed job says nothing to a winemaker.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    return run_daemon("alerts", AlertsDaemon, arguments)


if __name__ == "__main__":
    sys.exit(main())
