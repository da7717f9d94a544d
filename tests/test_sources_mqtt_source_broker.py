"""The MQTT source against real brokers: mosquitto, and amqtt, which knows no MQTT 5."""

from __future__ import annotations

import queue
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from brokers import Amqtt, Mosquitto, broker_address
from eventually import eventually

from ingest.backoff import Backoff
from ingest.sources import mqtt_client
from ingest.sources.mqtt_source import MqttSource
from ingest.sources.sample import Sample

PRESENCE = "leeside/leeside-test/presence"


class Cellar:
    """A source whose samples land in a queue, and are acknowledged by ``take`` only."""

    def __init__(self, port: int, *topics: str, host: str = "127.0.0.1", **address: object) -> None:
        self.samples: queue.Queue[Sample] = queue.Queue()
        self.source = MqttSource(
            address=broker_address(port, host=host, **address),  # type: ignore[arg-type]  # tests name any field
            topics=topics or ["cellar/#"],
            deliver=self.samples.put,
            clock=lambda: 0,
            backoff=Backoff(0.02, 0.1),
        )

    def get(self, count: int) -> list[Sample]:
        return [self.samples.get(timeout=10) for _ in range(count)]

    def take(self, count: int) -> list[bytes]:
        samples = self.get(count)
        self.source.acknowledge_all([sample.ticket for sample in samples if sample.ticket is not None])
        return [sample.payload for sample in samples]


@contextmanager
def running(cellar: Cellar, *, connected: bool = True) -> Iterator[MqttSource]:
    cellar.source.start()
    try:
        if connected:
            eventually(lambda: cellar.source.state().subscribed)
        yield cellar.source
    finally:
        assert cellar.source.stop(10)


def numbers(start: int, stop: int) -> list[str]:
    return [str(number) for number in range(start, stop)]


def payloads(start: int, stop: int) -> list[bytes]:
    return [number.encode() for number in numbers(start, stop)]


def test_messages_arrive_in_order_and_are_acknowledged(broker: Mosquitto) -> None:
    cellar = Cellar(broker.port)
    with running(cellar) as source:
        assert source.state().protocol == "MQTT 5"
        broker.publish("cellar/K1/pressure", *numbers(0, 500))
        assert cellar.take(500) == payloads(0, 500)
        eventually(lambda: source.state().acknowledged == 500)
        assert source.state().unacknowledged == 0


def test_what_was_not_acknowledged_comes_again_to_the_next_process(broker: Mosquitto) -> None:
    first = Cellar(broker.port)
    with running(first):
        broker.publish("cellar/K1/pressure", *numbers(0, 10))
        assert first.take(4) == payloads(0, 4)
        assert [sample.payload for sample in first.get(6)] == payloads(4, 10)
    broker.publish("cellar/K1/pressure", *numbers(10, 20))  # while nobody is there
    second = Cellar(broker.port)
    with running(second) as source:
        again = second.get(16)
        assert [sample.payload for sample in again] == payloads(4, 20)
        assert [sample.repeat for sample in again] == [True] * 6 + [False] * 10
        assert source.state().session_present


def test_a_window_that_is_full_goes_on_once_something_is_acknowledged(broker: Mosquitto) -> None:
    cellar = Cellar(broker.port, window=5)
    with running(cellar):
        broker.publish("cellar/K1/pressure", *numbers(0, 12))
        held = cellar.get(5)
        assert cellar.source.state().unacknowledged == 5
        cellar.source.acknowledge_all([sample.ticket for sample in held if sample.ticket is not None])
        assert [cellar.take(1)[0] for _ in range(7)] == payloads(5, 12)


def test_a_broker_that_is_down_at_first_and_dies_later_is_found_again(tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path, options=["autosave_interval 1", "autosave_on_changes true"])
    cellar = Cellar(broker.port)
    with running(cellar, connected=False) as source:
        eventually(lambda: "Nothing listens at" in source.state().last_error)
        with broker:
            # Connected is not enough: what is published before the first subscription reaches nobody.
            eventually(lambda: source.state().subscribed)
            broker.publish("cellar/K1/pressure", *numbers(0, 3))
            assert cellar.take(3) == payloads(0, 3)
            broker.kill()
            eventually(lambda: not source.state().connected)
            broker.start()
            eventually(lambda: source.state().subscribed)
            broker.publish("cellar/K1/pressure", *numbers(3, 6))
            # What was killed before it had seen an acknowledgement may send that message once more.
            while (sample := cellar.get(1)[0]).repeat:
                assert sample.payload in payloads(0, 3)
            assert [sample.payload, *cellar.take(2)] == payloads(3, 6)
        assert source.alive()


def test_a_retained_message_is_passed_on_as_retained(broker: Mosquitto) -> None:
    broker.publish("cellar/K1/pressure", "55", retain=True)
    cellar = Cellar(broker.port)
    with running(cellar):
        kept = cellar.get(1)[0]
        assert (kept.payload, kept.retained) == (b"55", True)
        broker.publish("cellar/K1/pressure", "56", retain=True)
        live = cellar.get(1)[0]
        assert (live.payload, live.retained) == (b"56", False)


@pytest.fixture
def talkative(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that logs each packet."""
    with Mosquitto(tmp_path, options=["log_type all"]) as broker:
        yield broker


def test_a_topic_that_left_the_cellar_file_is_left_at_the_broker_too(talkative: Mosquitto) -> None:
    """The kept session still holds the old subscription, and what was queued for it."""
    broker = talkative
    with running(Cellar(broker.port, "cellar/K1/pressure", "cellar/K2/pressure")):
        pass
    broker.publish("cellar/K2/pressure", *numbers(0, 30))  # while nobody is there
    broker.publish("cellar/K1/pressure", "55")
    cellar = Cellar(broker.port, "cellar/K1/pressure", window=5)
    with running(cellar) as source:
        # The window of 5 would fill with 30 messages that nobody acknowledges, and nothing else would come.
        assert cellar.take(1) == [b"55"]
        eventually(lambda: source.state().acknowledged == 31)
        assert (source.state().left_topics, source.state().unacknowledged) == (30, 0)
        eventually(lambda: "Received UNSUBSCRIBE" in broker.log())
        # The broker no longer sends them: the topic behind it comes, and no other between.
        broker.publish("cellar/K2/pressure", "1")
        broker.publish("cellar/K1/pressure", "56")
        assert cellar.take(1) == [b"56"]
        assert source.state().left_topics == 30
    broker.publish("cellar/K2/pressure", "2")
    again = Cellar(broker.port, "cellar/K1/pressure")
    with running(again) as source:
        broker.publish("cellar/K1/pressure", "57")
        assert again.take(1) == [b"57"]
        assert source.state().left_topics == 0


def test_an_old_wildcard_subscription_costs_no_more_than_its_messages(talkative: Mosquitto) -> None:
    """It cannot be left by the topic that it brings, and is asked for once only."""
    broker = talkative
    with running(Cellar(broker.port, "old/#")):
        pass
    cellar = Cellar(broker.port, "cellar/+")
    with running(cellar) as source:
        broker.publish("old/K2", *numbers(0, 20))
        eventually(lambda: source.state().left_topics == 20)
        broker.publish("cellar/K1", "55")
        assert cellar.take(1) == [b"55"]
        eventually(lambda: source.state().acknowledged == 21)
        assert broker.log().count("Received UNSUBSCRIBE") == 1


def test_a_wrong_password_is_told_and_the_right_one_gets_in(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, password=("cellar", "right")) as broker:
        wrong = Cellar(broker.port, user="cellar", password="wrong")
        with running(wrong, connected=False) as source:
            eventually(lambda: "let user 'cellar'" in source.state().last_error)
            assert not source.state().connected
        right = Cellar(broker.port, user="cellar", password="right")
        with running(right):
            broker.publish("cellar/K1/pressure", "1")
            assert right.take(1) == [b"1"]


def test_presence_stands_while_we_are_there_and_falls_when_we_leave(broker: Mosquitto) -> None:
    watcher = Cellar(broker.port, PRESENCE, client_id="watcher")
    watched = Cellar(broker.port, PRESENCE)
    with running(watcher):
        with running(watched):
            assert watcher.take(1) == [b"online"]
        assert watcher.take(1) == [b"offline"]


def test_two_programs_with_one_client_id_are_told(broker: Mosquitto) -> None:
    one, other = Cellar(broker.port), Cellar(broker.port)
    with running(one) as source, running(other):
        # By the broker, or by our own suspicion: a broker that closes at once may cut off its own explanation.
        eventually(lambda: "client id 'leeside-test'" in source.state().last_error)


def test_a_name_that_leads_nowhere_is_told() -> None:
    cellar = Cellar(1883, host="broker.invalid")
    with running(cellar, connected=False) as source:
        eventually(lambda: "'broker.invalid' leads nowhere" in source.state().last_error)


# ---- TLS

# The client library leaves the socket of a failed handshake to the interpreter, which closes it at once.
CLOSED_BY_THE_INTERPRETER = pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with ``key.pem`` and a self-signed ``certificate.pem`` for 127.0.0.1."""
    folder = tmp_path_factory.mktemp("tls")
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"),
            *("-days", "2", "-subj", "/CN=cellar", "-addext", "subjectAltName=IP:127.0.0.1"),
            *("-keyout", "key.pem", "-out", "certificate.pem"),
        ],
        cwd=folder,
        check=True,
        capture_output=True,
    )
    return folder


@CLOSED_BY_THE_INTERPRETER
def test_tls_works_with_the_right_authority_and_says_what_is_wrong_without(tmp_path: Path, certificate: Path) -> None:
    pair = [f"certfile {certificate / 'certificate.pem'}", f"keyfile {certificate / 'key.pem'}"]
    with Mosquitto(tmp_path, listener=pair) as broker:
        trusted = Cellar(broker.port, tls=True, ca_file=certificate / "certificate.pem", user="cellar", password="x")
        with running(trusted):
            pass
        stranger = Cellar(broker.port, tls=True)
        with running(stranger, connected=False) as source:
            eventually(lambda: "look at [mqtt] ca_file" in source.state().last_error)
        elsewhere = Cellar(broker.port, tls=True, host="localhost", ca_file=certificate / "certificate.pem")
        with running(elsewhere, connected=False) as source:
            eventually(lambda: "Hostname mismatch" in source.state().last_error)
        missing = Cellar(broker.port, tls=True, ca_file=tmp_path / "none.pem")
        with running(missing, connected=False) as source:
            eventually(lambda: "none.pem' does not exist" in source.state().last_error)


@CLOSED_BY_THE_INTERPRETER
def test_tls_to_a_plain_port_is_told(broker: Mosquitto) -> None:
    cellar = Cellar(broker.port, tls=True)
    with running(cellar, connected=False) as source:
        eventually(lambda: source.state().last_error)
        assert "is this the broker's TLS port?" in source.state().last_error


# ---- amqtt


def test_a_broker_without_mqtt_5_is_spoken_to_in_311() -> None:
    with Amqtt() as port:
        cellar = Cellar(port)
        with running(cellar) as source:
            assert source.state().protocol == "MQTT 3.1.1"
            subprocess.run(
                ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(port), "-t", "cellar/K1", "-q", "1", "-m", "55"],
                check=True,
                timeout=10,
            )
            assert cellar.take(1) == [b"55"]
            eventually(lambda: source.state().acknowledged == 1)


def test_a_port_where_no_broker_listens_is_told() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    cellar = Cellar(port)
    with running(cellar, connected=False) as source:
        eventually(lambda: f"Nothing listens at 127.0.0.1:{port}" in source.state().last_error)


def test_a_broker_that_hangs_with_its_connections_open_is_noticed_and_found_again(
    broker: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten seconds of the questions are one here; what the broker is promised stays at 60 s."""
    monkeypatch.setattr(mqtt_client, "PING_S", 1)
    cellar = Cellar(broker.port)
    with running(cellar) as source:
        broker.hang()
        try:
            eventually(lambda: not source.state().connected, within_s=5)
            eventually(lambda: "no longer answers: is it well?" in source.state().last_error)
        finally:
            broker.go_on()
        eventually(lambda: source.state().subscribed, within_s=30)
        broker.publish("cellar/K1/pressure", "12")
        assert cellar.take(1) == [b"12"]
