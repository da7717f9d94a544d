"""Reading ahead: whatever lies together or apart on the wire, every message is delivered, and without more coming."""

from __future__ import annotations

import queue
from collections.abc import Iterator
from contextlib import contextmanager

from brokers import broker_address
from eventually import eventually
from peak_memory import PeakMemory
from scripted_peer import PUBACK, PeerConnection, ScriptedPeer, publish

from ingest.backoff import Backoff
from ingest.sources.mqtt_source import MqttSource
from ingest.sources.sample import Sample

PINGREQ = b"\xc0\x00"
HUGE = 200_000_000  # bytes of a payload; MQTT allows 256 MiB a packet


@contextmanager
def connected(peer: ScriptedPeer) -> Iterator[tuple[PeerConnection, MqttSource, queue.Queue[Sample]]]:
    samples: queue.Queue[Sample] = queue.Queue()
    source = MqttSource(
        address=broker_address(peer.port),
        topics=("a/b",),
        deliver=samples.put,
        clock=lambda: 0,
        backoff=Backoff(0.02, 0.05),
    )
    source.start()
    try:
        connection = peer.accept()
        connection.establish()
        yield connection, source, samples
    finally:
        assert source.stop(10)


def messages(count: int) -> list[bytes]:
    return [publish(b"a/b", str(number).encode(), packet_id=number) for number in range(1, count + 1)]


def payloads(samples: queue.Queue[Sample], count: int) -> list[bytes]:
    return [samples.get(timeout=10).payload for _ in range(count)]


def test_what_came_in_one_piece_is_delivered_though_nothing_follows(peer: ScriptedPeer) -> None:
    # More than one turn of the network thread reads, and all of it in its buffer after the first.
    with connected(peer) as (connection, _, samples):
        connection.send(b"".join(messages(700)))
        assert payloads(samples, 700) == [str(number).encode() for number in range(1, 701)]


def test_a_packet_that_is_no_message_does_not_hold_up_the_message_behind_it(peer: ScriptedPeer) -> None:
    with connected(peer) as (connection, _, samples):
        first, second = messages(2)
        connection.send(first + PINGREQ + PINGREQ + second)
        assert payloads(samples, 2) == [b"1", b"2"]


def test_a_message_that_comes_byte_by_byte_is_whole(peer: ScriptedPeer) -> None:
    with connected(peer) as (connection, source, samples):
        for byte in b"".join(messages(3)):
            connection.send(bytes([byte]))
        assert payloads(samples, 3) == [b"1", b"2", b"3"]
        assert source.state().received == 3


def test_what_came_right_before_the_end_is_delivered_and_the_end_is_seen(peer: ScriptedPeer) -> None:
    with connected(peer) as (connection, _, samples):
        connection.send(b"".join(messages(300)))
        connection.close()
        assert payloads(samples, 300)[-1] == b"300"
        peer.accept().establish(session_present=True)


def test_acknowledgements_flow_while_more_lies_in_the_buffer(peer: ScriptedPeer) -> None:
    with connected(peer) as (connection, source, samples):
        connection.send(b"".join(messages(500)))
        received = [samples.get(timeout=10) for _ in range(500)]
        source.acknowledge_all([sample.ticket for sample in received if sample.ticket is not None])
        assert connection.read_until(PUBACK)[2:] == b"\x00\x01"


def huge(packet_id: int) -> Iterator[bytes]:
    """A message of HUGE zeros at QoS 1, in pieces."""
    packet = publish(b"a/b", b"", packet_id=packet_id)
    length, coded = len(packet) - 2 + HUGE, b""
    while length:
        length, low = divmod(length, 128)
        coded += bytes([low | (0x80 if length else 0)])
    yield packet[:1] + coded + packet[2:]
    piece = bytes(1_000_000)
    for _ in range(HUGE // len(piece)):
        yield piece


def test_a_huge_message_costs_no_memory_and_holds_up_nothing(peer: ScriptedPeer) -> None:
    """It is delivered cut short, still too long for any form of payload, so that it is counted and acknowledged."""
    with connected(peer) as (connection, source, samples), PeakMemory() as memory:
        for piece in huge(1):
            connection.send(piece)
        connection.send(publish(b"a/b", b"7", packet_id=2))
        received = [samples.get(timeout=10) for _ in range(2)]
        source.acknowledge_all([sample.ticket for sample in received if sample.ticket is not None])
        assert [connection.read_until(PUBACK)[2:4] for _ in range(2)] == [b"\x00\x01", b"\x00\x02"]
    assert [len(sample.payload) for sample in received] == [64 * 1024 + 1, 1]
    assert received[1].payload == b"7"
    assert source.state().connects == 1
    assert memory.grown_bytes < 30_000_000


def test_a_huge_packet_that_is_no_message_ends_the_connection(peer: ScriptedPeer) -> None:
    with connected(peer) as (connection, source, _):
        connection.send(b"\x90\xff\xff\xff\x7f" + bytes(100))
        eventually(lambda: "a packet of 268,435,455 bytes that is not a message" in source.state().last_error)
        peer.accept().establish(session_present=True)
