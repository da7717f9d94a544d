"""An MQTT source that reads from a scripted broker, for tests."""

from __future__ import annotations

__all__ = ["NOW_MS", "PRESENCE", "Cellar", "accept_311", "puback", "running", "ticket_of"]

import queue
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from brokers import broker_address
from scripted_peer import PeerConnection, ScriptedPeer

from ingest.backoff import Backoff
from ingest.sources.mqtt_source import MqttSource
from ingest.sources.sample import Sample, Ticket

PRESENCE = "leeside/leeside-test/presence"
NOW_MS = 1_795_595_400_000


class Cellar:
    """A source whose samples land in a queue; ``fail_on`` is a payload that cannot be taken."""

    def __init__(self, port: int, *topics: str, **address: object) -> None:
        self.samples: queue.Queue[Sample] = queue.Queue()
        self.release = threading.Event()
        self.fail_on = b""
        self.clock_ahead_s = 0.0
        self.source = MqttSource(
            address=broker_address(port, **address),  # type: ignore[arg-type]  # tests name any field
            topics=topics or ("a/b",),
            deliver=self.deliver,
            clock=lambda: NOW_MS,
            monotonic=lambda: time.monotonic() + self.clock_ahead_s,
            backoff=Backoff(0.02, 0.05),
        )

    def deliver(self, sample: Sample) -> None:
        if sample.payload == self.fail_on:
            raise MemoryError("no room for this one")
        self.samples.put(sample)
        if sample.payload == b"hang":
            self.release.wait(10)

    def next(self) -> Sample:
        return self.samples.get(timeout=10)


@contextmanager
def running(cellar: Cellar) -> Iterator[MqttSource]:
    cellar.source.start()
    try:
        yield cellar.source
    finally:
        assert cellar.source.stop(10)


def ticket_of(sample: Sample) -> Ticket:
    assert sample.ticket is not None
    return sample.ticket


def puback(packet_id: int) -> bytes:
    return bytes([0x40, 2, packet_id >> 8, packet_id & 0xFF])


def accept_311(peer: ScriptedPeer) -> PeerConnection:
    """Refuse MQTT 5 as the standard says (MQTT 5.0, section 3.2.2.2, code 0x84) and take the next connection."""
    refused = peer.accept()
    refused.take_connect()
    assert refused.version == 5
    refused.send(b"\x20\x03\x00\x84\x00")
    connection = peer.accept()
    connection.establish()
    assert connection.version == 4
    return connection
