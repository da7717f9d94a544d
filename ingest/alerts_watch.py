"""Whether the alerts daemon responds, as the ingest daemon sees it: logged, and kept at a topic of the broker.

The alerts daemon raises an alarm when ingest stops. The reverse cannot be an alarm, so it goes where another program
can see it.
"""

from __future__ import annotations

__all__ = ["WATCH_TOPIC", "AlertsWatch"]

import logging
from collections.abc import Callable
from threading import Thread
from typing import Final

from ingest.first_traces import FirstTraces
from ingest.machine_clock import EvenTime
from ingest.pulse import AlertsPulse, Pulse

log = logging.getLogger("ingest")

WATCH_TOPIC: Final = "leeside/{client_id}/alerts"
_LOG_AGAIN_S: Final = 600.0


class AlertsWatch:
    """Looked after with each pulse. A daemon that never ran on this store is not missed.

    publish: keeps a payload at the topic, and gives "" or why it could not; None without a broker.
    """

    def __init__(self, publish: Callable[[bytes], str] | None) -> None:
        self._publish = publish
        self._kept = b""
        self._thread: Thread | None = None
        self._logged: float | None = None
        self._traces = FirstTraces()

    def look(self, pulse: Pulse[AlertsPulse] | None, now_ms: int, even: EvenTime, now_mono: float) -> None:
        """See how the alerts daemon is. now_ms: UTC ms; even, now_mono: the same moment by other clocks."""
        if pulse is None:
            return
        responds = pulse.responds(now_ms, even)
        if responds and self._logged is not None:
            log.info("the alerts daemon responds again")
            self._logged = None
        elif not responds and (self._logged is None or now_mono - self._logged >= _LOG_AGAIN_S):
            log.error("the alerts daemon does not respond: no limit is watched, and no message goes out")
            self._logged = now_mono
        self._keep(b"online" if responds else b"offline")

    def join(self, timeout_s: float) -> None:
        """Wait until what is being published is out."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _keep(self, payload: bytes) -> None:
        """Publish it once; a broker that is away is asked again with the next pulse."""
        if self._publish is None or payload == self._kept or (self._thread is not None and self._thread.is_alive()):
            return
        self._thread = Thread(
            target=self._publish_once, args=(self._publish, payload), name="alerts watch", daemon=True
        )
        self._thread.start()

    def _publish_once(self, publish: Callable[[bytes], str], payload: bytes) -> None:
        try:
            trouble = publish(payload)
        except Exception as error:
            # Asked again with the next pulse; the trace of one error is worth one place in the log.
            trouble = repr(error)
            if self._traces.is_new(error):
                log.exception("the state of the alerts daemon could not be kept at the broker; it is tried again")
        if trouble:
            log.debug("the state of the alerts daemon could not be kept at the broker: %s", trouble)
        else:
            self._kept = payload
