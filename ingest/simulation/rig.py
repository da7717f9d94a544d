"""The rig that sends what the simulated probes show: MQTT messages to a broker, lines of text to a pseudo terminal."""

from __future__ import annotations

__all__ = ["Rig", "utc_ms"]

import logging
import os
import time
from collections.abc import Callable, Sequence
from heapq import heapify, heapreplace
from queue import SimpleQueue
from threading import Event, Thread

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from ingest.errors import SourceError
from ingest.simulation.cellar import SimulatedCellar
from ingest.simulation.loopback import LOOPBACK
from ingest.simulation.wire import Outlet, SerialText

_log = logging.getLogger(__name__)

_LONGEST_WAIT_S = 0.25
_BACKLOG = 1000


def utc_ms() -> int:
    """Read the wall clock (UTC milliseconds)."""
    return time.time_ns() // 1_000_000


class Rig:
    """Plays a cellar in the time of ``clock``, every outlet at the interval of its probes.

    broker_port, user, password: the broker on 127.0.0.1; clock: UTC ms (the simulation runs as fast as it does).
    ``serial_device`` is the path of the line for a reader to open; it exists as soon as the rig does. Messages are sent
    with QoS 1; while the broker is away up to a thousand wait, and later ones are lost. Lines that nobody reads are
    lost, as on a real line.
    """

    def __init__(
        self,
        cellar: SimulatedCellar,
        outlets: Sequence[Outlet],
        *,
        broker_port: int,
        user: str,
        password: str,
        clock: Callable[[], int] = utc_ms,
    ) -> None:
        self.sent = 0
        self._cellar = cellar
        self._outlets = tuple(outlets)
        self._clock = clock
        self._wishes: SimpleQueue[Callable[[int], None]] = SimpleQueue()
        self._stop = Event()
        self._thread: Thread | None = None
        self._broker_port = broker_port
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2, client_id="mill-lane-rig", protocol=MQTTProtocolVersion.MQTTv311
        )
        self._client.username_pw_set(user, password)
        self._client.max_queued_messages_set(_BACKLOG)
        self._client.reconnect_delay_set(1, 5)
        self._writer, self._reader, self.serial_device = _open_line()

    def start(self) -> None:
        """Connect and begin to play; return at once. A broker that is not there yet is tried again."""
        self._client.connect_async(LOOPBACK, self._broker_port, keepalive=30)
        self._client.loop_start()
        self._thread = Thread(target=self._play, name="rig", daemon=True)
        self._thread.start()

    def do(self, wish: Callable[[int], None]) -> None:
        """Have a function change the cellar, such as ``lambda now_ms: lane.lift_lid(now_ms + 15_000)``.

        The rig's thread, which owns the cellar while it plays, calls it once with the clock's time (UTC ms): at its
        next turn, or at the first one if the rig has not started yet.
        """
        self._wishes.put(wish)

    def alive(self) -> bool:
        """Say whether it plays."""
        return self._thread is not None and self._thread.is_alive()

    def stop(self) -> None:
        """End the thread, disconnect from the broker and close the line; a second call does nothing."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None
            self._client.disconnect()
            self._client.loop_stop()
        if self._writer >= 0:
            os.close(self._writer)
            os.close(self._reader)
            self._writer = self._reader = -1

    def _play(self) -> None:
        start_ms = self._clock()
        due: list[tuple[int, int]] = []
        for index, outlet in enumerate(self._outlets):
            every_ms = self._every_ms(outlet)
            due.append((start_ms + (index + 1) * every_ms // (len(self._outlets) + 1), index))
        heapify(due)
        while not self._stop.is_set():
            at_ms, index = due[0]
            now_ms = self._clock()
            while not self._wishes.empty():
                self._wishes.get()(now_ms)
            if now_ms < at_ms:
                self._stop.wait(min((at_ms - now_ms) / 1000, _LONGEST_WAIT_S))
                continue
            self._send(self._outlets[index], now_ms)
            heapreplace(due, (max(at_ms + self._every_ms(self._outlets[index]), now_ms + 1), index))

    def _every_ms(self, outlet: Outlet) -> int:
        return min(self._cellar.instruments[probe].every_ms for probe in outlet.probes)

    def _send(self, outlet: Outlet, now_ms: int) -> None:
        self._cellar.advance(now_ms)
        payload = outlet.payload(now_ms, {probe: self._cellar.measure(probe) for probe in outlet.probes})
        if isinstance(outlet, SerialText):
            try:
                os.write(self._writer, payload + b"\r\n")
            except BlockingIOError:
                return  # nobody reads and the line's buffer is full
        else:
            result = self._client.publish(outlet.topic, payload, qos=1)
            if result.rc not in (paho.MQTT_ERR_SUCCESS, paho.MQTT_ERR_NO_CONN):
                _log.debug("the rig could not queue %s: %s", outlet.topic, paho.error_string(result.rc))
                return
        self.sent += 1


def _open_line() -> tuple[int, int, str]:
    """Open a pseudo terminal: the end to write to, the reader's end (kept open for reader after reader), its path."""
    try:
        import pty
        import tty
    except ImportError as error:
        raise SourceError(
            "the demo's serial line needs a system with pseudo terminals, such as Linux or macOS"
        ) from error
    writer, reader = pty.openpty()
    tty.setraw(reader)
    os.set_blocking(writer, False)
    return writer, reader, os.ttyname(reader)
