"""A publisher that keeps a steady pace: so many readings a second, spread evenly over topics, QoS 1."""

from __future__ import annotations

__all__ = ["Feed"]

import threading
import time
from types import TracebackType

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion


class Feed:
    """Publishes 17.00 to 17.06 °C on ``cellar/R<number>/air`` from entering to leaving; ``sent`` counts.

    own_times: as JSON with the time, else as a bare number.
    """

    def __init__(self, port: int, probes: int, a_second: float, *, own_times: bool = False) -> None:
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._port = port
        self._probes = probes
        self._own_times = own_times
        self._gap_s = 1.0 / a_second
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self.sent = 0

    def _run(self) -> None:
        due = time.monotonic()
        while not self._stop.wait(max(0.0, due - time.monotonic())):
            topic = f"cellar/R{self.sent % self._probes}/air"
            number = f"{17 + self.sent % 7 / 100:.2f}"
            payload = f'{{"at":{time.time():.3f},"c":{number}}}' if self._own_times else number
            self._client.publish(topic, payload, qos=1)
            self.sent += 1
            due += self._gap_s

    def __enter__(self) -> Feed:
        self._client.connect("127.0.0.1", self._port)
        self._client.loop_start()
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()
