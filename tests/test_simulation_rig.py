"""The demo's edge: broker, mail sink and rig, over real sockets and a real pseudo terminal."""

from __future__ import annotations

import gc
import json
import logging
import math
import smtplib
import socket
import time
from collections.abc import Iterator
from datetime import datetime
from email.message import EmailMessage
from pathlib import Path
from queue import Queue
from threading import Event
from threading import enumerate as live_threads

import paho.mqtt.client as paho
import pytest
import serial
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from ingest.errors import SourceError
from ingest.simulation import demo_broker as broker_module
from ingest.simulation.demo_broker import DemoBroker
from ingest.simulation.loopback import free_port
from ingest.simulation.mailbox import Mailbox, ReceivedMail
from ingest.simulation.rig import Rig, utc_ms
from ingest.simulation.scenario import OUTLETS, MillLane
from ingest.simulation.wire import SerialText

PATIENCE_S = 10.0
USER, PASSWORD = "cellar", "seventeen oak staves"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[DemoBroker]:
    running = DemoBroker({USER: PASSWORD}, tmp_path)
    running.start()
    yield running
    running.stop()


class Listener:
    """A plain MQTT 3.1.1 client whose messages and connection answers can be waited for."""

    def __init__(self, port: int, user: str | None, password: str | None, *topics: str) -> None:
        self.answers: Queue[ReasonCode] = Queue()
        self.messages: Queue[paho.MQTTMessage] = Queue()
        self.subscribed = Event()
        self.client = paho.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv311)
        if user is not None:
            self.client.username_pw_set(user, password)
        self.client.on_connect = lambda client, userdata, flags, reason, properties: self._answered(reason, topics)
        self.client.on_subscribe = lambda client, userdata, mid, reasons, properties: self.subscribed.set()
        self.client.on_message = lambda client, userdata, message: self.messages.put(message)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def _answered(self, reason: ReasonCode, topics: tuple[str, ...]) -> None:
        self.answers.put(reason)
        if not reason.is_failure and topics:
            self.client.subscribe([(topic, 1) for topic in topics])

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.mark.parametrize(("user", "password"), [(USER, "wrong"), ("nobody", PASSWORD), (None, None)])
def test_the_broker_lets_in_only_who_is_named(broker: DemoBroker, user: str | None, password: str | None) -> None:
    listener = Listener(broker.port, user, password)
    assert listener.answers.get(timeout=PATIENCE_S).is_failure
    listener.close()


def test_the_broker_carries_a_message_and_keeps_its_hashes_to_itself(broker: DemoBroker, tmp_path: Path) -> None:
    listener = Listener(broker.port, USER, PASSWORD, "cellar/#")
    assert not listener.answers.get(timeout=PATIENCE_S).is_failure
    assert listener.subscribed.wait(PATIENCE_S)
    listener.client.publish("cellar/K1/pressure", b"7.98", qos=1).wait_for_publish(PATIENCE_S)
    message = listener.messages.get(timeout=PATIENCE_S)
    assert (message.topic, message.payload, message.qos) == ("cellar/K1/pressure", b"7.98", 1)
    listener.close()
    hashes = tmp_path / "broker-users"
    assert hashes.stat().st_mode & 0o077 == 0
    assert PASSWORD not in hashes.read_text()


def test_the_broker_stops_quickly_and_prints_nothing(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    running = DemoBroker({USER: PASSWORD}, tmp_path)
    running.start()
    port = running.port
    listener = Listener(port, USER, PASSWORD, "cellar/#")
    assert listener.subscribed.wait(PATIENCE_S)
    with socket.create_connection(("127.0.0.1", port)) as silent:
        silent.sendall(b"\x10")  # the first byte of a CONNECT, and no more
        before = time.monotonic()
        running.stop()
        assert time.monotonic() - before < PATIENCE_S
    running.stop()
    listener.client.loop_stop()
    gc.collect()
    assert [thread.name for thread in live_threads() if thread.name == "demo-broker"] == []
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port)).close()
    assert capfd.readouterr() == ("", "")
    assert caplog.records == []


def test_the_broker_tries_another_port(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        ports = [taken.getsockname()[1], *(free_port() for _ in range(2))]
        monkeypatch.setattr(broker_module, "free_port", iter(ports).__next__)
        running = DemoBroker({USER: PASSWORD}, tmp_path)
        running.start()
        assert running.port == ports[1]
        running.stop()
        monkeypatch.setattr(broker_module, "free_port", lambda: ports[0])
        with pytest.raises(SourceError, match=r"cannot listen on 127[.]0[.]0[.]1"):
            DemoBroker({USER: PASSWORD}, tmp_path).start()


def test_the_mailbox_hands_mail_over() -> None:
    received: Queue[ReceivedMail] = Queue()
    mailbox = Mailbox(received.put)
    mailbox.start()
    letter = EmailMessage()
    letter["From"] = "leeside@cellar.example"
    letter["To"] = "cellarhand@cellar.example"
    letter["Subject"] = "K2: low pressure, 4.9 kPa – air can reach the wine"
    letter.set_content("Nachts war es kühl.\n")
    with smtplib.SMTP("127.0.0.1", mailbox.port, timeout=PATIENCE_S) as smtp:
        smtp.send_message(letter)
    mail = received.get(timeout=PATIENCE_S)
    mailbox.stop()
    mailbox.stop()
    assert mail.sender == "leeside@cellar.example"
    assert mail.recipients == ("cellarhand@cellar.example",)
    assert mail.message["Subject"] == letter["Subject"]
    assert mail.message.get_content() == "Nachts war es kühl.\n"


def test_a_mailbox_whose_reader_fails_says_so_to_the_sender(caplog: pytest.LogCaptureFixture) -> None:
    def refuse(mail: ReceivedMail) -> None:
        raise KeyError(mail.sender)

    mailbox = Mailbox(refuse)
    mailbox.start()
    letter = EmailMessage()
    letter.set_content("x")
    with (
        smtplib.SMTP("127.0.0.1", mailbox.port, timeout=PATIENCE_S) as smtp,
        pytest.raises(smtplib.SMTPDataError, match="451"),
    ):
        smtp.send_message(letter, "a@cellar.example", ["b@cellar.example"])
    mailbox.stop()
    assert "failed" in caplog.text


def test_the_rig_plays_the_cellar_over_mqtt_and_the_line(broker: DemoBroker) -> None:
    origin_ms, origin = utc_ms(), time.monotonic()

    def twenty_times_faster() -> int:
        return origin_ms + round((time.monotonic() - origin) * 20_000)

    lane = MillLane(now_ms=origin_ms, days=0)
    started: Queue[int] = Queue()

    def on_start(at_ms: int) -> None:
        lane.lift_lid(at_ms + 15_000)
        started.put(at_ms)

    listener = Listener(broker.port, USER, PASSWORD, "cellar/#")
    assert listener.subscribed.wait(PATIENCE_S)
    rig = Rig(
        lane.cellar,
        OUTLETS,
        broker_port=broker.port,
        user=USER,
        password=PASSWORD,
        clock=twenty_times_faster,
    )
    rig.do(on_start)
    with serial.Serial(rig.serial_device, 9600, timeout=PATIENCE_S) as line:
        rig.start()
        lines = {line.readline() for _ in range(6)}
    assert {text[:2] for text in lines} == {b"K1", b"K3", b"C1"}
    assert all(text.endswith(b"\r\n") and text[2:5] == b" T=" for text in lines)

    start_ms = started.get(timeout=PATIENCE_S)
    topics: set[str] = set()
    above_ms = below_ms = 0
    while not below_ms:
        message = listener.messages.get(timeout=PATIENCE_S)
        topics.add(message.topic)
        if message.topic == "cellar/K2/box":
            document = json.loads(message.payload)
            after_ms = round(datetime.fromisoformat(document["at"]).timestamp() * 1000) - start_ms
            assert after_ms < 90_000
            if document["gas"]["kPa"] < 5.0:
                below_ms = after_ms
            else:
                above_ms = after_ms
        else:
            assert message.topic == "cellar/N2/regulator" or math.isfinite(float(message.payload))
    assert topics == {outlet.topic for outlet in OUTLETS if not isinstance(outlet, SerialText)}
    assert 20_000 < above_ms < 30_500
    assert below_ms > 29_500
    assert rig.alive()
    rig.stop()
    rig.stop()
    assert not rig.alive()
    listener.close()


def test_a_rig_without_broker_and_reader_goes_on_and_stops() -> None:
    lane = MillLane(now_ms=utc_ms(), days=0)
    lane.cellar.step_ms = 5_000
    turns: Queue[int] = Queue()
    fast = iter(range(lane.end_ms, lane.end_ms + 10**12, 5_000))

    def clock() -> int:
        at_ms = next(fast)
        turns.put(at_ms)
        return at_ms

    mostly_lines = [outlet for outlet in OUTLETS if isinstance(outlet, SerialText)] + [OUTLETS[0]]
    rig = Rig(lane.cellar, mostly_lines, broker_port=free_port(), user=USER, password=PASSWORD, clock=clock)
    rig.start()
    for _ in range(10_000):  # 80 kB of lines, more than a terminal holds, and more messages than may wait
        turns.get(timeout=PATIENCE_S)
    assert rig.alive()
    assert 1000 < rig.sent < 9_000
    rig.stop()
    assert not Path(rig.serial_device).exists()
