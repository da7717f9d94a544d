"""The MQTT source against exact packets: what no real broker can be made to do at will."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from brokers import broker_address
from eventually import eventually
from scripted_peer import CONNECT, DISCONNECT, PUBACK, PUBLISH, SUBSCRIBE, PeerConnection, ScriptedPeer, publish

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


# ---- acknowledgements


@pytest.mark.parametrize("version", [5, 4])
def test_no_puback_before_acknowledge_and_one_after(peer: ScriptedPeer, version: int) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        if version == 5:
            connection = peer.accept()
            connection.establish()
        else:
            connection = accept_311(peer)
        connection.send(publish(b"a/b", b"1", packet_id=7, version=version))
        sample = cellar.next()
        assert sample[:4] == ("mqtt", "a/b", b"1", NOW_MS)
        assert sample.ticket == Ticket(source.generation, 7, 1)
        assert connection.barrier() == []
        assert source.state().unacknowledged == 1
        source.acknowledge(ticket_of(sample))
        assert connection.read_until(PUBACK) == puback(7)
        assert source.state().acknowledged == 1


def test_pubacks_go_out_in_the_order_of_arrival(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        connection = peer.accept()
        connection.establish()
        connection.send(b"".join(publish(b"a/b", b"x", packet_id=packet_id) for packet_id in (1, 2, 3)))
        tickets = [ticket_of(cellar.next()) for _ in range(3)]
        source.acknowledge(tickets[2])
        source.acknowledge(tickets[1])
        assert connection.barrier() == []
        source.acknowledge_all(tickets[:1])
        assert [connection.read_until(PUBACK) for _ in range(3)] == [puback(1), puback(2), puback(3)]


def test_a_ticket_of_an_earlier_connection_is_never_sent(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        first = peer.accept()
        first.establish()
        first.send(publish(b"a/b", b"old", packet_id=1))
        stale = ticket_of(cellar.next())
        first.close()
        second = peer.accept()
        second.establish(session_present=True)
        second.send(publish(b"a/b", b"another", packet_id=1))
        fresh = ticket_of(cellar.next())
        assert fresh.generation > stale.generation
        source.acknowledge_all([stale])
        assert second.barrier() == []
        assert source.state().stale_tickets == 1
        source.acknowledge_all([stale, fresh])
        assert second.read_until(PUBACK) == puback(1)
        assert second.barrier() == []


def test_a_ticket_given_back_while_away_is_dropped(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        first = peer.accept()
        first.establish()
        first.send(publish(b"a/b", b"old", packet_id=1))
        stale = ticket_of(cellar.next())
        generation = source.generation
        first.close()
        eventually(lambda: source.generation != generation)
        source.acknowledge(stale)
        second = peer.accept()
        second.establish()
        assert second.barrier() == []
        assert source.state().stale_tickets == 1


def test_repeat_and_retained_are_passed_on(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar):
        connection = peer.accept()
        connection.establish()
        connection.send(publish(b"a/b", b"1", packet_id=1, repeat=True))
        connection.send(publish(b"a/b", b"2", packet_id=2, retained=True))
        connection.send(publish(b"a/b", b"3", packet_id=3))
        assert [(s.repeat, s.retained) for s in (cellar.next(), cellar.next(), cellar.next())] == [
            (True, False),
            (False, True),
            (False, False),
        ]


def test_a_qos_0_message_has_no_ticket(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar):
        connection = peer.accept()
        connection.establish()
        connection.send(publish(b"a/b", b"1", qos=0))
        assert cellar.next().ticket is None
        assert connection.barrier() == []


# ---- what must not kill the network thread


def test_a_topic_that_is_no_utf_8_is_counted_acknowledged_and_survived(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        connection = peer.accept()
        connection.establish()
        connection.send(publish(b"a/b", b"before", packet_id=4))
        connection.send(publish(b"a/\xff", b"1", packet_id=5))
        connection.send(publish(b"a/b", b"after", packet_id=6))
        before, after = cellar.next(), cellar.next()
        assert (before.payload, after.payload) == (b"before", b"after")
        assert connection.barrier() == []  # its turn comes after the one before it
        source.acknowledge_all([ticket_of(before), ticket_of(after)])
        assert [connection.read_until(PUBACK) for _ in range(3)] == [puback(4), puback(5), puback(6)]
        assert source.state().bad_topics == 1
        assert source.alive()


def test_a_message_that_is_not_taken_stays_with_the_broker(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    cellar.fail_on = b"poison"
    with running(cellar) as source:
        connection = peer.accept()
        connection.establish()
        connection.send(publish(b"a/b", b"poison", packet_id=5))
        connection.send(publish(b"a/b", b"good", packet_id=6))
        source.acknowledge(ticket_of(cellar.next()))
        assert connection.read_until(PUBACK) == puback(6)
        assert connection.barrier() == []
        assert source.state().delivery_failures == 1
        assert source.alive()


@pytest.mark.parametrize(
    "garbage",
    [b"\x30\x03\x00\x09a", b"\xff\xff\xff\xff\xff\xff", b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x20\x02\x00\x00" * 2],
    ids=["topic-too-short", "length-too-long", "http", "second-connack"],
)
def test_garbage_costs_a_connection_at_most(peer: ScriptedPeer, garbage: bytes) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        connection = peer.accept()
        connection.establish()
        connection.send(garbage)
        connection.close()
        peer.accept().establish()
        eventually(lambda: source.state().connects == 2)
        assert source.alive()


# ---- connecting


def test_mqtt_5_connect_keeps_the_session_and_bounds_what_may_come(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port, window=300, session_expiry_s=86400, user="probe", password="secret")
    with running(cellar) as source:
        connection = peer.accept()
        connection.establish(session_present=True)
        connect = connection.received[0]
        flags = connect[connect.index(b"MQTT") + 5]
        # MQTT 5.0, section 3.1.2: user name, password, retained will with QoS 1; bit 1 (clean start) is off.
        assert flags == 0b1110_1100
        # Section 3.1.2.11: session expiry 0x11, receive maximum 0x21, maximum packet size 0x27.
        assert b"\x11" + (86400).to_bytes(4) in connect
        assert b"\x21" + (300).to_bytes(2) in connect
        assert b"\x27" + (1024 * 1024).to_bytes(4) in connect
        assert PRESENCE.encode() + b"\x00\x07offline" in connect
        eventually(lambda: source.state().session_present)
        assert source.state().protocol == "MQTT 5"


def test_mqtt_311_connect_keeps_the_session(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        connection = accept_311(peer)
        connect = connection.received[0]
        assert connect[connect.index(b"MQTT") + 5] == 0b0010_1100  # clean session off
        eventually(lambda: source.state().protocol == "MQTT 3.1.1")
        connection.close()
        again = peer.accept()
        again.establish()
        assert again.version == 4  # what worked is tried first


def test_an_old_broker_answers_with_return_code_1(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar):
        refused = peer.accept()
        refused.take_connect()
        refused.send(b"\x20\x02\x00\x01")  # MQTT 3.1.1, table 3.1
        connection = peer.accept()
        connection.establish()
        assert connection.version == 4


def test_a_broker_that_just_closes_is_tried_with_the_other_version(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        versions = []
        for _ in range(3):
            connection = peer.accept()
            connection.take_connect()
            versions.append(connection.version)
            connection.close()
        assert versions == [5, 4, 5]
        peer.accept().establish()
        eventually(lambda: source.state().connected)


def test_presence_is_said_on_arrival_and_on_leaving(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar):
        connection = peer.accept()
        connection.establish()
    packets = connection.read_to_end()
    # Subscribing comes first: the broker may acknowledge the one late, and until then the other would wait.
    assert [packet[0] >> 4 for packet in packets] == [CONNECT, SUBSCRIBE, PUBLISH, PUBLISH, DISCONNECT]
    said = [packet for packet in packets if packet[0] >> 4 == PUBLISH]
    assert [packet.rsplit(b"\x00", 1)[1] for packet in said] == [b"online", b"offline"]
    assert all(packet[0] & 1 for packet in said)  # retained


def test_a_refused_topic_is_told_and_the_others_are_read(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port, "a/b", "secret/#", "weak/+")
    with running(cellar) as source:
        connection = peer.accept()
        connection.establish(granted=b"\x01\x87\x00")
        eventually(lambda: source.state().refused_topics == ("secret/#",))
        eventually(lambda: source.state().unsafe_topics == ("weak/+",))
        connection.send(publish(b"a/b", b"1", packet_id=1))
        assert cellar.next().payload == b"1"


def test_a_topic_that_is_no_filter_does_not_spoil_the_others(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port, "a/b", "a/b#")
    with running(cellar) as source:
        connection = peer.accept()
        connection.establish()
        assert b"a/b\x01" in connection.received[-1]
        assert source.state().refused_topics == ("a/b#",)


def test_many_topics_go_into_several_packets(peer: ScriptedPeer) -> None:
    topics = [f"cellar/{number}/temperature" for number in range(250)]
    cellar = Cellar(peer.port, *topics)
    with running(cellar):
        connection = peer.accept()
        connection.establish(granted=b"\x01" * 100)
        asked = connection.received[-1] + connection.read_until(8) + connection.read_until(8)
        assert all(topic.encode() in asked for topic in topics)


def test_a_silent_broker_is_given_up_and_tried_again(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        silent = peer.accept()
        silent.take_connect()
        cellar.clock_ahead_s = 11.0
        assert silent.read_to_end()[-1][0] >> 4 == CONNECT
        eventually(lambda: "does not answer" in source.state().last_error)
        peer.accept().establish()
        eventually(lambda: source.state().connected)
        assert source.state().last_error == ""


@pytest.mark.parametrize(
    ("connack", "says"),
    [
        (b"\x20\x03\x00\x86\x00", "wrong user name or password"),
        (b"\x20\x03\x00\x87\x00", "does not let user 'probe' with client id 'leeside-test' in"),
        (b"\x20\x03\x00\x85\x00", "refuses the client id 'leeside-test'"),
        (b"\x20\x03\x00\x88\x00", "takes no connections just now"),
        (b"\x20\x03\x00\x9a\x00", "Retain not supported"),
    ],
)
def test_a_refusal_is_told_in_plain_words_and_retried(peer: ScriptedPeer, connack: bytes, says: str) -> None:
    cellar = Cellar(peer.port, user="probe", password="hunter2")
    with running(cellar) as source:
        refused = peer.accept()
        refused.take_connect()
        refused.send(connack)
        eventually(lambda: says in source.state().last_error)
        assert "hunter2" not in source.state().last_error
        assert not source.state().connected
        peer.accept().establish()
        eventually(lambda: source.state().connected)


def test_a_taken_over_session_is_told(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        connection = peer.accept()
        connection.establish()
        connection.send(b"\xe0\x02\x8e\x00")
        eventually(lambda: "with our client id 'leeside-test'" in source.state().last_error)
        peer.accept().establish()
        eventually(lambda: source.state().connects == 2)


def test_short_lives_in_a_row_raise_a_suspicion(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        connection = accept_311(peer)  # MQTT 3.1.1 has no word for a session that was taken over
        for _ in range(2):
            connection.close()
            connection = peer.accept()
            connection.establish()
        assert "another program" not in source.state().last_error
        connection.close()
        eventually(lambda: "Perhaps another program uses our client id" in source.state().last_error)


def test_an_unanswered_ping_ends_the_connection(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port, keep_alive_s=1)
    with running(cellar) as source:
        connection = peer.accept()
        connection.establish()
        assert connection.read_until(12)[0] >> 4 == 12  # PINGREQ
        peer.accept().establish()
        eventually(lambda: source.state().connects == 2)


# ---- starting and stopping


def test_alive_tells_a_thread_that_hangs(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    assert not cellar.source.alive()
    with running(cellar) as source:
        connection = peer.accept()
        connection.establish()
        connection.send(publish(b"a/b", b"hang", packet_id=1))
        assert cellar.next().payload == b"hang"
        assert source.alive()
        cellar.clock_ahead_s = 121.0
        assert not source.alive()
        cellar.release.set()
        eventually(source.alive)
    assert not cellar.source.alive()


def test_a_stopped_source_can_be_started_again(peer: ScriptedPeer) -> None:
    cellar = Cellar(peer.port)
    with running(cellar) as source:
        peer.accept().establish()
        with pytest.raises(RuntimeError, match="running already"):
            source.start()
    with running(cellar) as source:
        peer.accept().establish()
        eventually(lambda: source.state().connects == 2)


def test_a_password_is_in_no_repr() -> None:
    assert "hunter2" not in repr(broker_address(1883, user="u", password="hunter2"))
