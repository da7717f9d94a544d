"""The ingest daemon: sources, probes, store. ``python -m ingest.daemon FILE`` is one process of its own.

Build, start, run, stop are separate steps. The main thread is the writer; each source has its own thread and only
hands samples over.
"""

from __future__ import annotations

__all__ = ["IngestDaemon", "main"]

import logging
import os
import sqlite3
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from hashlib import sha256
from threading import Event
from typing import TYPE_CHECKING

import sdnotify

from ingest.alerts_watch import WATCH_TOPIC, AlertsWatch
from ingest.cellar import Cellar
from ingest.errors import IngestError
from ingest.first_traces import FirstTraces
from ingest.machine_clock import even_time, network_sets_clock
from ingest.probes.binding import barometers, bindings, declarations, jump_steps
from ingest.probes.decode import Decoder
from ingest.probes.steadiness import Steadiness
from ingest.process import orphaned, run_daemon, wall_ms
from ingest.pulse import PULSE_S, BrokerPulse, ChipPulse, IngestPulse, LinePulse
from ingest.sources.broker_address import BrokerAddress, default_client_id, guest_address
from ingest.sources.mqtt_source import MqttSource, MqttState
from ingest.sources.retained import publish_retained
from ingest.sources.sample import Sample, Ticket
from ingest.sources.serial_line import SerialLine, SerialState
from ingest.sources.w1 import ChipState, OneWireChips
from ingest.store import RoleLock, Store, create_or_open
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.change_feed import MIRROR, SUMMARIES
from ingest.store.disk_space import DiskWatch, log_size
from ingest.store.pulse_rows import pulses, write_pulse
from ingest.store.readings.series import declare
from ingest.unstored import UnstoredSender
from ingest.watchdog import Watchdog
from ingest.writing.board_clock import ClockState
from ingest.writing.calm import Calm, ranges
from ingest.writing.clock_guard import ClockGuard
from ingest.writing.pace import ProbePaces
from ingest.writing.unstored_readings import UnstoredReadings
from ingest.writing.upkeep import Upkeep, UpkeepSettings
from ingest.writing.writer import Writer

if TYPE_CHECKING:
    from ingest.mirror.follower import Follower

log = logging.getLogger("ingest")

# MQTT 3.1.1 has no way to ask for a window; brokers commonly allow 20 unacknowledged messages, so half of that calls
# for a commit. With MQTT 5 it is half of the window that was asked for.
ENOUGH_WITHOUT_WINDOW = 10

# Without a broker nobody waits for acknowledgements; the interval alone calls for commits.
ENOUGH_WITHOUT_BROKER = 5000

# How often the writer's loop turns although nothing calls for it: for a stop, a pulse, a dead source.
LOOP_S = 0.5

# Where there is no mirror, the change feed is written with every eighth pulse: summaries follow it every two hours.
FEED_EVERY = 8

# A reading that is to be committed at once waits this long for what comes with it.
GATHER_S = 0.1

WARN_AGAIN_S = 60.0
PUBLISH_WITHIN_S = 10.0


class IngestDaemon:
    """Reads probes and stores what they send, until ``stop_event`` is set."""

    def __init__(self, cellar: Cellar, environ: Mapping[str, str]) -> None:
        self._cellar = cellar
        self._mirror = _mirror(cellar, environ)
        self._lock = RoleLock(cellar.store_path, "ingest")
        self._started_ms = wall_ms()
        self._store = create_or_open(cellar.store_path, self._started_ms)
        self._disk = DiskWatch(cellar.store_path)
        keep_cellar_file(self._store, cellar.text, self._started_ms)
        series = declare(self._store, declarations(cellar), self._started_ms)
        self._writer = Writer(
            self._store,
            Decoder(bindings(cellar, series)),
            self._acknowledge,
            self._enough,
            steadiness=Steadiness(jump_steps(cellar, series)),
            barometers=barometers(cellar, series),
            calm=Calm(ranges(cellar.possible_limits, series), cellar.store.commit_s, cellar.store.calm_commit_s),
            paces=ProbePaces(cellar.probe, series),
            feed_every=FEED_EVERY if cellar.mirror is None else 1,
        )
        self._unstored_sender = UnstoredSender(cellar.store_path)
        self._unstored = UnstoredReadings(
            Decoder(bindings(cellar, series)), Steadiness(jump_steps(cellar, series)), self._unstored_sender.send
        )
        self._clock_guard = ClockGuard(self._store, wall_ms(), time.monotonic())
        self._upkeep = _upkeep(cellar, self._store)
        self._mqtt = _mqtt_source(cellar, environ, self._writer.offer)
        self._lines = {
            settings.id: SerialLine(settings, deliver=self._writer.offer, clock=wall_ms) for settings in cellar.serial
        }
        self._chips = _one_wire_chips(cellar, self._writer.offer)
        self._alerts_watch = AlertsWatch(_publisher(cellar, environ))
        self._traces = FirstTraces()
        self._parent = os.environ.get("LEESIDE_PARENT")
        self.stop_event = Event()
        self._systemd = sdnotify.SystemdNotifier()
        self._watchdog = Watchdog(environ, os.getpid(), time.monotonic())
        self._warned: dict[str, float] = {}
        self._turn_failed = False

    def start(self) -> None:
        """Open the sources; none of them has to answer for the daemon to go on."""
        for source in (self._mqtt, *self._lines.values(), self._chips, self._mirror):
            if source is not None:
                source.start()
        self._write_first_pulse()
        self._systemd.notify("READY=1")
        log.info("%s: %d probes, store %s", self._cellar.site.name, len(self._cellar.probe), self._cellar.store_path)

    def run(self) -> None:
        """Commit what the sources deliver, until ``stop_event`` is set."""
        commit_s = self._cellar.store.commit_s
        now = time.monotonic()
        turn_due, pulse_due = now + min(commit_s, LOOP_S), now + PULSE_S
        more_upkeep = False
        look_s = min(LOOP_S, self._watchdog.every_s)
        while not self.stop_event.is_set() and not orphaned(self._parent):
            now = time.monotonic()
            due = min(turn_due, pulse_due, self._readings_due())
            if self._writer.arrived.wait(0.0 if more_upkeep else max(0.0, min(look_s, due - now))):
                self._writer.wake.wait(GATHER_S)
            now = time.monotonic()
            self._report_to_systemd(now)
            if self._writer.arrived.is_set() and not self._writer.wake.is_set() and not self._gather():
                turn_due = min(turn_due, now + commit_s)
            if not self._writer.wake.is_set() and now < min(turn_due, pulse_due, self._readings_due()):
                more_upkeep = self._keep_up(now)
                continue
            with_pulse = now >= pulse_due
            stored = self._turn(with_pulse, now)
            if with_pulse:
                pulse_due = now + PULSE_S
            if not self._writer.counters.readings or self._writer.doubts:
                turn_due = now + min(commit_s, LOOP_S)
            elif not stored or self._clock_guard.verdict is not ClockState.RIGHT:
                turn_due = now + commit_s
            else:
                # What is gathered says itself when it is due.
                turn_due = pulse_due

    def stop(self) -> None:
        """Close the sources, commit what they have delivered, disconnect from the broker, close the store."""
        self._systemd.notify("STOPPING=1")
        for line in self._lines.values():
            line.stop()
        if self._chips is not None:
            self._chips.stop(1.0)
        if self._mirror is not None:
            self._mirror.stop(1.0)
        # The broker's connection stays open for the last commit, so that what it holds can still be acknowledged.
        if not self._clock_guard.turn(self._writer, self._write_pulse, wall_ms(), time.monotonic()):
            log.warning("%d samples could not be stored: %s", self._writer.waiting, self._writer.counters.last_error)
        if self._mqtt is not None:
            self._mqtt.stop(2.0)
        self._unstored_sender.close()
        self._store.close()
        self._lock.close()

    # ---- what the writer asks for ------------------------------------------------------------------------------

    def _acknowledge(self, tickets: Sequence[Ticket]) -> None:
        if self._mqtt is not None:
            self._mqtt.acknowledge_all(tickets)

    def _enough(self) -> int:
        if not self._writer.counters.readings:
            # The first reading after a start waits for no others: what happened meanwhile is to be judged soon.
            return 1
        if self._mqtt is None or self._cellar.mqtt is None:
            return ENOUGH_WITHOUT_BROKER
        return max(1, self._cellar.mqtt.window // 2) if self._mqtt.has_window else ENOUGH_WITHOUT_WINDOW

    # ---- the loop ----------------------------------------------------------------------------------------------

    def _readings_due(self) -> float:
        # A turn that failed is not made again at once.
        return float("inf") if self._turn_failed else self._writer.due_mono

    def _gather(self) -> bool:
        """Make readings of what waits; False where that is left to the next turn."""
        self._writer.arrived.clear()
        try:
            return self._clock_guard.gather(self._writer, wall_ms(), time.monotonic())
        except Exception:
            log.exception("readings could not be gathered; a turn of the writer tries it again")
            return False

    def _turn(self, with_pulse: bool, now: float) -> bool:
        write_pulse = self._write_pulse if with_pulse else None
        try:
            stored = self._clock_guard.turn(
                self._writer, write_pulse, wall_ms(), time.monotonic(), network_sets_clock()
            )
            self._hand_on()
        except Exception:
            self._turn_failed = True
            log.exception("a turn of the writer failed; its samples stay unacknowledged")
            return False
        self._turn_failed = False
        if not stored:
            self._warn("commit", now, "not stored yet, held and tried again: %s", self._writer.counters.last_error)
        if with_pulse:
            self._look_after_sources(now)
            self._look_at_alerts(now)
        return stored

    def _hand_on(self) -> None:
        """Let alerts judge what the store does not take, and other processes know why it does not."""
        # A turn that had nothing to write says nothing about the store: the last commit counts.
        error = self._writer.counters.last_error
        self._lock.note(error or "")
        if error is None:
            self._unstored.stored()
        else:
            self._unstored.hand_on(self._writer.held, self._writer.queued, self._writer.connection)

    def _report_to_systemd(self, now: float) -> None:
        # Also while the disk is full: a restart would only lose what is held in memory.
        if not self._turn_failed and self._watchdog.due(now):
            self._systemd.notify("WATCHDOG=1")

    def _keep_up(self, now: float) -> bool:
        """Do a slice of the store's upkeep, unless the clock is in doubt; True if there is more to do at once."""
        if self._clock_guard.verdict is not ClockState.RIGHT:
            return False
        try:
            return self._upkeep.work(wall_ms(), now)
        except Exception as error:  # noqa: BLE001 - top of a turn: logged once a minute, and tried again
            self._warn("upkeep", now, "the store's upkeep failed; it is tried again later: %r", error)
            return False

    def _look_at_alerts(self, now: float) -> None:
        try:
            self._alerts_watch.look(pulses(self._store).alerts, wall_ms(), even_time(), now)
        except Exception as error:
            if self._traces.is_new(error):
                log.exception("how the alerts daemon is could not be seen; it is tried again")
            else:
                self._warn("alerts", now, "how the alerts daemon is could not be seen: %r", error)

    def _look_after_sources(self, now: float) -> None:
        if self._mqtt is not None:
            self._revive("the broker", self._mqtt, now)
        for name, line in self._lines.items():
            self._revive(f"line {name}", line, now)
        if self._chips is not None:
            self._revive("one-wire chips", self._chips, now)
        if self._mirror is not None and not self._mirror.alive():
            self._warn("mirror", now, "the mirror's thread has ended; it is started again")
            self._mirror.start()

    def _revive(self, name: str, source: MqttSource | SerialLine | OneWireChips, now: float) -> None:
        if source.alive():
            return
        # One that hangs in a driver does not end when asked to; two that read one device would be worse than none.
        if source.stop(1.0):
            self._warn(name, now, "the thread that reads %s has ended; it is started again", name)
            source.start()
        else:
            self._warn(name, now, "the thread that reads %s hangs and cannot be ended; restart leeside", name)

    def _warn(self, subject: str, now: float, text: str, *values: object) -> None:
        """Log a warning, but of a disk that stays full or a line that stays dead once a minute, not once a turn."""
        if now - self._warned.get(subject, -WARN_AGAIN_S) >= WARN_AGAIN_S:
            self._warned[subject] = now
            log.warning(text, *values)

    # ---- the pulse ---------------------------------------------------------------------------------------------

    def _write_first_pulse(self) -> None:
        try:
            with self._store.write() as connection:
                self._write_pulse(connection)
        except IngestError as error:
            log.warning("the first pulse was not stored: %s", error)

    def _write_pulse(self, connection: sqlite3.Connection) -> None:
        write_pulse(connection, self._pulse(), wall_ms(), self._started_ms, even_time())

    def _pulse(self) -> IngestPulse:
        counters = self._writer.counters
        chips = {} if self._chips is None else self._chips.state()
        pulse = IngestPulse(
            cellar_file_digest=sha256(self._cellar.text.encode()).hexdigest(),
            samples=counters.samples,
            readings=counters.readings,
            repeats=counters.repeats,
            refused=counters.refused,
            dropped=counters.dropped,
            commits=counters.commits,
            failed_commits=counters.failed_commits,
            waiting=self._writer.waiting,
            clock=str(self._clock_guard.verdict),
            retained=self._writer.retained,
            babbling=self._writer.babbling,
            mqtt=None if self._mqtt is None else BrokerPulse.model_validate(_for_pulse(self._mqtt.state())),
            lines={name: LinePulse.model_validate(_for_pulse(line.state())) for name, line in self._lines.items()},
            mirror=None if self._mirror is None else self._mirror.state(),
            chips={chip: ChipPulse.model_validate(_for_pulse(state)) for chip, state in chips.items()},
            store_log_bytes=log_size(self._cellar.store_path),
        )
        space = self._disk.look(time.monotonic())
        if space is None:
            return pulse
        disk = {
            "disk_free_bytes": space.free_bytes,
            "disk_total_bytes": space.total_bytes,
            "disk_low": space.low,
            "disk_alarming": space.alarming,
        }
        return pulse.model_copy(update=disk)


def _mqtt_source(cellar: Cellar, environ: Mapping[str, str], deliver: Callable[[Sample], None]) -> MqttSource | None:
    topics = sorted({probe.topic for probe in cellar.probe if probe.topic is not None})
    if cellar.mqtt is None or not topics:
        return None
    client_id = cellar.mqtt.client_id or default_client_id(cellar.store_path)
    address = BrokerAddress.of(cellar.mqtt, client_id, environ, cellar.base)
    return MqttSource(address=address, topics=topics, deliver=deliver, clock=wall_ms)


def _publisher(cellar: Cellar, environ: Mapping[str, str]) -> Callable[[bytes], str] | None:
    """Return what keeps a payload at the topic of ``AlertsWatch``; None without a broker."""
    settings = cellar.mqtt
    if settings is None:
        return None
    topic = WATCH_TOPIC.format(client_id=settings.client_id or default_client_id(cellar.store_path))

    def publish(payload: bytes) -> str:
        try:
            return publish_retained(guest_address(settings, environ, cellar.base), topic, payload, PUBLISH_WITHIN_S)
        except IngestError as error:
            return str(error)

    return publish


def _one_wire_chips(cellar: Cellar, deliver: Callable[[Sample], None]) -> OneWireChips | None:
    every_s = {probe.w1: probe.every_s for probe in cellar.probe if probe.w1 is not None}
    if not every_s:
        return None
    return OneWireChips(
        folder=cellar.base / cellar.w1.path,
        every_s=every_s,
        deliver=deliver,
        clock=wall_ms,
        monotonic=time.monotonic,
    )


def _upkeep(cellar: Cellar, store: Store) -> Upkeep:
    keep = cellar.store
    return Upkeep(
        store,
        UpkeepSettings(keep.settle_after_s, keep.keep_raw_s, keep.keep_minutes_s, keep.keep_hours_s),
        time.monotonic(),
        # Only what all of these have taken is pruned from the change feed.
        followers=(SUMMARIES,) if cellar.mirror is None else (SUMMARIES, MIRROR),
        network_sets_clock=network_sets_clock,
    )


def _mirror(cellar: Cellar, environ: Mapping[str, str]) -> Follower | None:
    """Return the mirror, if the cellar file has one; only then it is imported, and its library."""
    settings = cellar.mirror
    if settings is None:
        return None
    from ingest.mirror.follower import Follower

    return Follower(
        store_path=cellar.store_path,
        base=cellar.base,
        settings=settings,
        token=lambda: settings.token(environ, cellar.base),
        clock=wall_ms,
        monotonic=time.monotonic,
    )


def _for_pulse(state: MqttState | SerialState | ChipState) -> dict[str, object]:
    # Monotonic time means nothing in another process; the pulse has for how long.
    fields = asdict(state)
    fields["for_s"] = round(time.monotonic() - fields.pop("since_mono"), 1)
    return fields


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the daemon on a cellar file until SIGTERM or SIGINT. Exit code 0, or 2 when it cannot start."""
    return run_daemon("ingest", IngestDaemon, arguments)


if __name__ == "__main__":
    sys.exit(main())
