"""An MQTT source and a scripted broker: how it connects, and what it makes of one that refuses or is silent."""

from __future__ import annotations

import pytest
from a_mqtt_source import PRESENCE, Cellar, accept_311, running
from eventually import eventually
from scripted_peer import CONNECT, DISCONNECT, PUBLISH, SUBSCRIBE, ScriptedPeer, publish


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
