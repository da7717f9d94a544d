"""The MQTT source against exact packets: what no real broker can be made to do at will."""

from __future__ import annotations

import pytest
from a_mqtt_source import NOW_MS, Cellar, accept_311, puback, running, ticket_of
from brokers import broker_address
from eventually import eventually
from scripted_peer import PUBACK, ScriptedPeer, publish

from ingest.sources.sample import Ticket

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
