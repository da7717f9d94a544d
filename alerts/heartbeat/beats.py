"""The thread that sends the heartbeat, as long as everything works that it vouches for."""

from __future__ import annotations

__all__ = ["TIMEOUT_S", "Heartbeat"]

import logging
from collections.abc import Callable, Mapping
from threading import Event, Thread
from typing import Final

from alerts.channels.webhook import post
from alerts.errors import AlertsError
from alerts.heartbeat.works import Work, what_fails
from alerts.view.status import cellar_status
from ingest.cellar import Cellar, HeartbeatSettings
from ingest.errors import IngestError
from ingest.json_text import json_text
from ingest.machine_clock import EvenTime
from ingest.pulse import HeartbeatPulse
from ingest.sources.broker_address import guest_address
from ingest.sources.retained import publish_retained
from ingest.store import open_existing
from ingest.times import iso_utc

log = logging.getLogger("alerts")

TIMEOUT_S: Final = 20.0
_STOPS_WITHIN_S: Final = 5.0


class Heartbeat:
    """Sends one every so often until ``stop``; does nothing where the cellar file has no ``[heartbeat]``.

    environ: where a secret URL may be; turn_ago_s: how long ago the last turn was; clock: gives UTC ms; even: the same
    moment by the even clock.
    """

    def __init__(
        self,
        cellar: Cellar,
        environ: Mapping[str, str],
        turn_ago_s: Callable[[], float],
        clock: Callable[[], int],
        even: Callable[[], EvenTime],
    ) -> None:
        self._cellar = cellar
        self._environ = environ
        self._turn_ago_s = turn_ago_s
        self._clock = clock
        self._even = even
        self._stop = Event()
        self._thread: Thread | None = None
        self._pulse: HeartbeatPulse | None = None

    @property
    def pulse(self) -> HeartbeatPulse | None:
        """How the heartbeat does; None where there is none, or it has not begun."""
        return self._pulse

    def start(self) -> None:
        """Begin, with the first one after half a minute, when readings have had time to come."""
        if self._cellar.heartbeat is not None:
            self._thread = Thread(target=self._run, args=(self._cellar.heartbeat,), name="heartbeat", daemon=True)
            self._thread.start()

    def look_after(self) -> None:
        """Start the thread again if it has ended."""
        if self._thread is not None and not self._thread.is_alive() and not self._stop.is_set():
            log.error("the heartbeat's thread has ended; it is started again")
            self.start()

    def stop(self) -> None:
        """Send no more."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(_STOPS_WITHIN_S)

    def beat(self, settings: HeartbeatSettings) -> HeartbeatPulse:
        """Send one if all works, and give how the heartbeat stands now."""
        now_ms = self._clock()
        before = self._pulse
        sent_ms = None if before is None else before.sent_ms
        held_back = what_fails(self._work(now_ms))
        error = "" if held_back else self._send(settings, now_ms)
        if not held_back and not error:
            sent_ms = now_ms
        self._pulse = HeartbeatPulse(sent_ms=sent_ms, held_back=held_back, last_error=error)
        was = ("", "") if before is None else (before.held_back, before.last_error)
        if (held_back or error) and (held_back, error) != was:
            log.warning("the heartbeat %s", f"is held back: {held_back}" if held_back else f"cannot be sent: {error}")
        return self._pulse

    # ---- its thread --------------------------------------------------------------------------------------------

    def _run(self, settings: HeartbeatSettings) -> None:
        wait_s = min(settings.every_s, 30.0)
        while not self._stop.wait(wait_s):
            wait_s = settings.every_s
            try:
                self.beat(settings)
            except (IngestError, AlertsError) as error:
                log.warning("whether all works cannot be said, so no heartbeat is sent: %s", error)
            except Exception:
                log.exception("the heartbeat failed; it goes on")

    def _work(self, now_ms: int) -> Work:
        with open_existing(self._cellar.store_path) as store, store.read():
            status = cellar_status(self._cellar, store, now_ms, self._even())
        readings = [reading for place in status.places for reading in place.readings]
        return Work(
            turn_ago_s=self._turn_ago_s(),
            ingest_responds=status.daemons[0].responds,
            silent=sum(reading.silent for reading in readings),
            heard=sum(not reading.silent for reading in readings),
            store_trouble=status.store_trouble,
            undelivered=0 if status.undelivered is None else status.undelivered.messages,
        )

    def _send(self, settings: HeartbeatSettings, now_ms: int) -> str:
        """Send it on each way, whatever becomes of the other; why that failed, "" where it did not."""
        said = {"site": self._cellar.site.name, "at": iso_utc(now_ms), "every_s": settings.every_s}
        body = json_text(said).encode()
        problems = []
        for way in (self._post, self._publish):
            try:
                problems.append(way(settings, body))
            except IngestError as error:
                problems.append(str(error))
        return "; ".join(problem for problem in problems if problem)

    def _post(self, settings: HeartbeatSettings, body: bytes) -> str:
        url = settings.address(self._environ, self._cellar.base)
        if url is None:
            return ""
        ca_file = None if settings.ca_file is None else self._cellar.base / settings.ca_file
        answer = post(url, {"Content-Type": "application/json"}, body, TIMEOUT_S, ca_file)
        if isinstance(answer, str):
            return f"the server {answer}"
        return "" if 200 <= answer.status < 300 else f"the server answered {answer.status}"

    def _publish(self, settings: HeartbeatSettings, body: bytes) -> str:
        if settings.topic is None or self._cellar.mqtt is None:
            return ""
        broker = guest_address(self._cellar.mqtt, self._environ, self._cellar.base)
        return publish_retained(broker, settings.topic, body, TIMEOUT_S)
