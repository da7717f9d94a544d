"""MQTT: samples to committed and acknowledged by the ingest daemon, against a bare subscriber that only counts.

Each round queues the same messages at a fresh mosquitto for a session that is away, so that the publisher is never
what is waited for; then the session's owner connects, and the time counts from the line of the broker's log that says
so to the last message. For the daemon a message counts once it is committed, read from the store by this process; at
the end its own pulse must say that it acknowledged all. The floor is paho with MQTT 5, the same Receive
Maximum, and an acknowledgement for each message from the callback, as its documentation shows it.

QoS 0 is made lossless by the broker: max_queued_messages 0 and queue_qos0_messages true. With --live the publishers
start when the subscriber is connected, and share the processor with it.

About 3 minutes for 5 rounds of both; --rounds, --messages, --qos, --live, --time (seconds or rfc3339).
"""

from __future__ import annotations

import argparse
import json
import sqlite3
import subprocess
import sys
import time
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from brokers import Mosquitto
from cellars import cellar_text, running
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from rounds import alternate, print_ratio

PROBES = 10
WINDOW = 2000  # the cellar file's default
GOALS = {1: 0.75, 0: 0.45}
CLIENT_ID = "benchmark"
LOOK_S = 0.005
LONGEST_S = 120.0
BROKER_OPTIONS = (
    "persistence false",
    "max_queued_messages 0",
    "max_inflight_messages 0",
    "queue_qos0_messages true",
    "log_type error",
    "log_type subscribe",
    "log_type notice",
    "log_type information",
)


def payloads(count: int, form: str) -> bytes:
    """One JSON object a line, 10 ms apart, the last of them a minute ago."""
    # A minute ago and before: what a probe had kept is never too much, however fast it comes.
    first_ms = time.time_ns() // 1_000_000 - count * 10 - 60_000
    lines = []
    for number in range(count):
        at_ms = first_ms + number * 10
        if form == "seconds":
            at = f"{at_ms / 1000:.3f}"
        else:
            at = f'"{time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(at_ms // 1000))}.{at_ms % 1000:03d}Z"'
        lines.append(f'{{"at":{at},"c":{17 + number % 97 / 100:.2f}}}\n')
    return "".join(lines).encode()


class Publishers:
    """One mosquitto_pub for each topic."""

    def __init__(self, port: int, qos: int, messages: int, form: str) -> None:
        self._text = payloads(messages // PROBES, form)
        self._command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(port), "-q", str(qos), "-V", "mqttv5", "-l"]
        self._files: list[Path] = []

    def run(self, folder: Path) -> list[subprocess.Popen[bytes]]:
        """Start them all."""
        file = folder / "payloads"
        file.write_bytes(self._text)
        started = []
        for number in range(PROBES):
            with file.open("rb") as lines:
                started.append(subprocess.Popen([*self._command, "-t", f"cellar/R{number}/air"], stdin=lines))
        return started


def wait_for(processes: list[subprocess.Popen[bytes]]) -> None:
    """Until all have ended well."""
    for process in processes:
        if process.wait(LONGEST_S) != 0:
            raise SystemExit(f"a publisher failed with exit code {process.returncode}")


def ours(qos: int, messages: int, form: str, *, live: bool) -> float:
    """Readings committed and acknowledged a second."""
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        folder = Path(name)
        store = folder / "cellar.db"
        with Mosquitto(folder, options=BROKER_OPTIONS) as broker:
            (folder / "cellar.toml").write_text(cellar_text(broker.port, PROBES, client_id=CLIENT_ID, payload="json"))
            daemon = [sys.executable, "-m", "ingest.daemon", str(folder / "cellar.toml")]
            publishers = Publishers(broker.port, qos, messages, form)
            with running(daemon):
                await_in_log(broker, f"{CLIENT_ID} 1 cellar/", PROBES)
                if live:
                    since = time.monotonic()
                    started = publishers.run(folder)
                    rate = messages / (await_stored(store, messages) - since)
                    wait_for(started)
            if not live:
                wait_for(publishers.run(folder))
                with running(daemon):
                    since = await_in_log(broker, f"as {CLIENT_ID} ", 2)
                    rate = messages / (await_stored(store, messages) - since)
        require_all(store, messages, qos)
    return rate


def pulse(store: Path) -> dict[str, object]:
    """What the daemon last said of itself."""
    connection = sqlite3.connect(store)
    body = connection.execute("SELECT body FROM pulse WHERE role = 'ingest'").fetchone()
    connection.close()
    return dict(json.loads(body[0])) if body else {}


def await_in_log(broker: Mosquitto, text: str, times: int) -> float:
    """When the broker's log held the text so often: ``time.monotonic()``, seconds."""
    deadline = time.monotonic() + LONGEST_S
    while time.monotonic() < deadline:
        if broker.log().count(text) >= times:
            return time.monotonic()
        time.sleep(LOOK_S)
    raise SystemExit(f"the broker's log does not say {text!r} {times} times:\n{broker.log()}")


def await_stored(store: Path, messages: int) -> float:
    """When so many readings were committed: ``time.monotonic()``, seconds."""
    connection = sqlite3.connect(store, isolation_level=None)
    deadline = time.monotonic() + LONGEST_S
    rows = 0
    while rows < messages and time.monotonic() < deadline:
        time.sleep(LOOK_S)
        rows = connection.execute("SELECT max(id) FROM fresh").fetchone()[0] or 0
    connection.close()
    if rows < messages:
        raise SystemExit(f"after {LONGEST_S:g} s only {rows} of {messages} readings were stored")
    return time.monotonic()


def require_all(store: Path, messages: int, qos: int) -> None:
    """Every message is one row, and every acknowledgement has gone out."""
    connection = sqlite3.connect(store)
    rows, times = connection.execute("SELECT count(*), count(DISTINCT series || ' ' || at) FROM fresh").fetchone()
    connection.close()
    body = pulse(store)
    mqtt = body["mqtt"]
    assert isinstance(mqtt, dict)
    if rows != messages or times != messages or mqtt["unacknowledged"]:
        raise SystemExit(f"{rows} rows, {times} times for {messages} messages; {body}")
    if qos and mqtt["acknowledged"] != messages:
        raise SystemExit(f"{mqtt['acknowledged']} of {messages} messages were acknowledged")


def floor(qos: int, messages: int, form: str, *, live: bool) -> float:
    """Messages counted and acknowledged a second by bare paho."""
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        folder = Path(name)
        with Mosquitto(folder, options=BROKER_OPTIONS) as broker:
            publishers = Publishers(broker.port, qos, messages, form)
            subscriber = [sys.executable, __file__, "--subscriber", str(broker.port), "--messages", str(messages)]
            with running([*subscriber, *([] if live else ["--only-subscribe"])]) as process:
                await_line(process, "subscribed")
                if live:
                    since = time.monotonic()
                    started = publishers.run(folder)
                    await_line(process, "all")
                    rate = messages / (time.monotonic() - since)
                    wait_for(started)
            if not live:
                wait_for(publishers.run(folder))
                with running(subscriber) as process:
                    since = await_in_log(broker, f"as {CLIENT_ID} ", 2)
                    await_line(process, "all")
                    rate = messages / (time.monotonic() - since)
    return rate


def await_line(process: subprocess.Popen[str], line: str) -> None:
    """Until it prints this."""
    assert process.stdout is not None
    for printed in process.stdout:
        if printed.strip() == line:
            return
    raise SystemExit(f"the bare subscriber ended without saying {line!r}")


def subscribe(port: int, messages: int, *, only_subscribe: bool) -> None:
    """The bare subscriber: counts and acknowledges, says when it has all."""
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id=CLIENT_ID, protocol=paho.MQTTv5, manual_ack=True)
    count = 0

    def on_connect(*_: object) -> None:
        client.subscribe([(f"cellar/R{number}/air", 1) for number in range(PROBES)])

    def on_subscribe(*_: object) -> None:
        print("subscribed", flush=True)
        if only_subscribe:
            client.disconnect()

    def on_message(_client: paho.Client, _userdata: object, message: paho.MQTTMessage) -> None:
        nonlocal count
        client.ack(message.mid, message.qos)
        count += 1
        if count == messages:
            print("all", flush=True)

    client.on_connect = on_connect
    client.on_subscribe = on_subscribe
    client.on_message = on_message
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # the library has no hint there
    properties.SessionExpiryInterval = 3600
    properties.ReceiveMaximum = WINDOW
    client.connect("127.0.0.1", port, clean_start=False, properties=properties)
    client.loop_forever()


def main() -> None:
    """Measure, or be the subscriber of a measurement."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--messages", type=int, default=60_000)
    parser.add_argument("--qos", type=int, choices=(0, 1), action="append")
    parser.add_argument("--live", action="store_true")
    parser.add_argument("--time", choices=("seconds", "rfc3339"), default="rfc3339")
    parser.add_argument("--subscriber", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--only-subscribe", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.subscriber:
        subscribe(given.subscriber, given.messages, only_subscribe=given.only_subscribe)
        return
    how = "live publishers" if given.live else "queued before"
    for qos in given.qos or (1, 0):
        measured = [partial(way, qos, given.messages, given.time, live=given.live) for way in (ours, floor)]
        print_ratio(f"QoS {qos}, {how}, time as {given.time}", *alternate(given.rounds, *measured), GOALS[qos])


if __name__ == "__main__":
    main()
