"""A guest at a real broker: what it hears, what it is refused, and that it leaves no trace."""

from __future__ import annotations

import logging
import queue
import time
from pathlib import Path

import pytest
from brokers import Amqtt, Mosquitto, dynamic_security
from eventually import eventually
from scripted_peer import SUBSCRIBE, ScriptedPeer

from ingest.backoff import Backoff
from ingest.cellar import MqttSettings
from ingest.errors import SourceError
from ingest.simulation.loopback import free_port
from ingest.sources.broker_address import BrokerAddress, guest_address
from ingest.sources.broker_check import try_broker
from ingest.sources.mqtt_source import MqttSource
from ingest.sources.sample import Sample


def address(port: int, **more: object) -> BrokerAddress:
    settings = MqttSettings.model_validate({"host": "127.0.0.1", "port": port, **more})
    return guest_address(settings, {"SECRET": "opensesame"}, Path("/srv/cellar"))


class Guest:
    """A source that keeps no session; ``told`` is what it logs."""

    def __init__(self, at: BrokerAddress, *topics: str) -> None:
        self.samples: queue.Queue[Sample] = queue.Queue()
        self.told: list[str] = []
        self.clock_ahead_s = 0.0
        self.source = MqttSource(
            address=at,
            topics=topics or ("#",),
            deliver=self.samples.put,
            clock=lambda: 7,
            monotonic=lambda: time.monotonic() + self.clock_ahead_s,
            backoff=Backoff(0.02, 0.05),
        )
        self._log = logging.getLogger("ingest")
        self._handler = logging.Handler(logging.INFO)
        self._handler.emit = lambda record: self.told.append(record.getMessage())  # type: ignore[method-assign]  # a list is enough

    def __enter__(self) -> Guest:
        self._log.addHandler(self._handler)
        self._log.setLevel(logging.INFO)
        self.source.start()
        return self

    def __exit__(self, *_: object) -> None:
        assert self.source.stop()
        self._log.setLevel(logging.NOTSET)
        self._log.removeHandler(self._handler)


def test_a_guest_hears_all_and_marks_what_was_retained(broker: Mosquitto) -> None:
    broker.publish("k1/old", "1", retain=True)
    with Guest(address(broker.port)) as guest:
        old = guest.samples.get(timeout=10)
        assert (old.address, old.payload, old.retained, old.ticket) == ("k1/old", b"1", True, None)
        broker.publish("k1/new", "2", qos=1)
        new = guest.samples.get(timeout=10)
        assert (new.address, new.payload, new.retained, new.arrival_ms) == ("k1/new", b"2", False, 7)
        assert guest.told == [f"broker 127.0.0.1:{broker.port}: connected with MQTT 5, listening to #"]


def test_a_guest_leaves_no_session_and_says_nothing(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, options=["log_type all"]) as broker:
        with Guest(address(broker.port)) as guest:
            eventually(lambda: guest.told)
        try_broker(address(broker.port), ["k1/p"])
        broker.publish("k1/p", "after")
        eventually(lambda: broker.log().count("Received DISCONNECT from leeside-look-") == 2)
        log = broker.log()
    connects = [entry for entry in log.splitlines() if "New client connected" in entry and "leeside-look-" in entry]
    assert len(connects) == 2
    assert all("c1" in entry for entry in connects)  # c1: a clean start
    assert len({entry.split(" as ")[1].split(" ")[0] for entry in connects}) == 2
    assert "Received PUBLISH from leeside-look-" not in log
    assert "will" not in "".join(connects).lower()
    assert "Sending PUBLISH to leeside-look-" not in log.split("Received DISCONNECT")[-1]


def test_a_guest_asks_for_each_topic_alone_and_for_nothing_that_stays() -> None:
    with ScriptedPeer() as peer, Guest(address(peer.port), "a/b", "c"):
        connection = peer.accept()
        connection.take_connect()
        connect = connection.received[0]
        # MQTT 5.0, section 3.1.2: clean start, no will, no login; section 3.1.2.11.2: session expiry 0.
        assert connect[connect.index(b"MQTT") + 5] == 0b0000_0010
        assert b"\x11" + bytes(4) in connect
        connection.send(b"\x20\x03\x00\x00\x00")
        asked = [connection.read_until(SUBSCRIBE), connection.read_until(SUBSCRIBE)]
        assert [packet[5:] for packet in asked] == [b"\x00\x03a/b\x00", b"\x00\x01c\x00"]
        assert connection.barrier() == []


def test_a_broker_that_answers_no_subscription_is_left() -> None:
    with ScriptedPeer() as peer:
        guest = Guest(address(peer.port))
        with guest:
            connection = peer.accept()
            connection.take_connect()
            connection.send(b"\x20\x03\x00\x00\x00")
            connection.read_until(SUBSCRIBE)
            guest.clock_ahead_s = 11.0
            assert connection.read_to_end()
            eventually(lambda: "lets us in but does not answer the subscription" in "".join(guest.told))


def test_a_guest_comes_back_when_the_broker_does(broker: Mosquitto) -> None:
    with Guest(address(broker.port)) as guest:
        eventually(lambda: len(guest.told) == 1)
        broker.stop()
        eventually(lambda: len(guest.told) >= 2)
        broker.start()
        eventually(lambda: "listening to #" in guest.told[-1])
        broker.publish("k1/p", "5")
        assert guest.samples.get(timeout=10).payload == b"5"


def test_a_broker_that_knows_no_mqtt_5_is_visited_all_the_same() -> None:
    with Amqtt() as port:
        assert try_broker(address(port), ["k1/p"]).protocol == "MQTT 3.1.1"


def test_nobody_listens() -> None:
    port = free_port()
    assert "Nothing listens at" in try_broker(address(port), ["a"]).error
    with Guest(address(port)) as guest:
        eventually(lambda: guest.told)
    assert guest.told == [
        f"Nothing listens at 127.0.0.1:{port}: is the broker running, and is the port right? leeside goes on trying."
    ]


def test_a_host_that_does_not_exist() -> None:
    settings = MqttSettings.model_validate({"host": "nowhere.invalid"})
    assert "leads nowhere" in try_broker(guest_address(settings, {}, Path()), ["a"]).error


def test_right_and_wrong_passwords(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, password=("ana", "opensesame")) as broker:
        right = try_broker(address(broker.port, user="ana", password_env="SECRET"), ["k1/p"])
        assert (right.error, right.granted) == ("", {"k1/p": 1})
        settings = MqttSettings.model_validate(
            {"host": "127.0.0.1", "port": broker.port, "user": "ana", "password_env": "SECRET"}
        )
        wrong = try_broker(guest_address(settings, {"SECRET": "no"}, Path()), ["k1/p"])
        # Mosquitto answers "not authorized" (0x87), whatever was wrong.
        assert "does not let user 'ana'" in wrong.error
        assert (wrong.protocol, wrong.granted) == ("", {})


def test_a_missing_password_is_told() -> None:
    with pytest.raises(SourceError, match="NO_SUCH"):
        address(1883, user="ana", password_env="NO_SUCH")


def test_a_refused_topic_is_told_beside_the_granted_one(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, options=dynamic_security(tmp_path)) as broker:
        result = try_broker(address(broker.port), ["k1/p", "k2/p"])
        assert (result.granted, list(result.refused)) == ({"k1/p": 1}, ["k2/p"])
        assert "authorized" in result.refused["k2/p"].lower()
        with Guest(address(broker.port), "k1/p", "k2/p") as guest:
            eventually(lambda: guest.told)
            assert guest.told == [
                f"broker 127.0.0.1:{broker.port}: connected with MQTT 5, listening to k1/p; it refuses k2/p "
                f"({result.refused['k2/p']}): look at the broker's access rules"
            ]


def test_an_access_file_of_mosquitto_grants_and_then_keeps_back(tmp_path: Path) -> None:
    """What docs/wiring.md says of it; if this changes, the page must."""
    rules = tmp_path / "rules"
    rules.write_text("topic read k1/#\ntopic write #\n")
    rules.chmod(0o600)
    with (
        Mosquitto(tmp_path, options=[f"acl_file {rules}"]) as broker,
        Guest(address(broker.port), "k2/p", "k1/p") as guest,
    ):
        eventually(lambda: guest.told)
        assert guest.told[0].endswith("listening to k2/p, k1/p")
        broker.publish("k2/p", "kept back")
        broker.publish("k1/p", "let through")
        assert guest.samples.get(timeout=10).payload == b"let through"
