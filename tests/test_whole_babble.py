"""A probe that babbles valid numbers: the store stays small, and another probe's alarm comes in its time."""

from __future__ import annotations

import subprocess
import time
from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import keg as a_keg
from cellar_text import limit, mail, mqtt, probe, site, temperature, write_cellar
from eventually import eventually
from mail_server import Inbox, mail_server
from running import Leeside, leeside

from ingest.simulation.loopback import free_port
from ingest.store import open_existing
from ingest.writing.pace import BABBLES, PAUSE_S

pytestmark = pytest.mark.whole

FLOOD_S = 5.0
# About what a loop without a pause on a small board publishes.
A_SECOND = 10_000


def babble(broker: Mosquitto, seconds: float) -> int:
    """Publish numbers on K2's topic; how many."""
    command = ["mosquitto_pub", "-h", broker.host, "-p", str(broker.port), "-t", "k2/t", "-q", "0", "-l"]
    piece = "".join(f"{12 + number % 7 / 10}\n" for number in range(1000)).encode()
    sent, begin = 0, time.monotonic()
    with subprocess.Popen(command, stdin=subprocess.PIPE) as publisher:
        assert publisher.stdin is not None
        while (passed_s := time.monotonic() - begin) < seconds:
            if sent > A_SECOND * passed_s:
                time.sleep(0.01)
                continue
            publisher.stdin.write(piece)
            publisher.stdin.flush()
            sent += 1000
    return sent


def test_a_babbling_probe_fills_no_store_and_holds_up_no_mail(tmp_path: Path) -> None:
    inbox, mail_port = Inbox(), free_port()
    low = {"at": "K1", "quantity": "pressure", "low": "5 kPa", "on_delay": "0 s", "priority": "high"}
    with Mosquitto(tmp_path) as broker, mail_server(inbox, mail_port):
        file = write_cellar(
            tmp_path, site(), mqtt(broker.port), a_keg(), a_keg("K2"), probe(topic="k1/p"),
            temperature("k2-temperature", "K2", topic="k2/t", mounted="wall"), limit(**low), mail(mail_port),
        )  # fmt: skip
        with Leeside(file) as running:
            broker.publish("k1/p", "50")
            broker.publish("k2/t", "12")
            eventually(lambda: "50.0 kPa" in leeside("now", file).stdout)
            # A pause ends what a probe that was never read before may bring.
            time.sleep(PAUSE_S + 0.2)
            sent = babble(broker, FLOOD_S)
            broker.publish("k1/p", "1")
            eventually(lambda: inbox.mails, within_s=10)
            assert "K1 pressure 1" in inbox.mails[0]["Subject"]
            eventually(lambda: BABBLES in leeside("now", file).stdout, within_s=15)
            with open_existing(running.store_path) as store:
                rows, newest_ms = store.connection.execute("SELECT count(*), max(at) FROM fresh").fetchone()
            assert sent > 20_000
            assert rows < 500
            assert newest_ms <= time.time_ns() // 1_000_000 + 1000
