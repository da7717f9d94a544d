"""Nothing acknowledged is lost: twenty thousand messages while both daemons are killed at random moments."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import threading
from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import KEG, SITE, mqtt, probe, table, write_cellar
from eventually import eventually
from running import Leeside, leeside, leeside_process

from ingest.store import open_existing
from ingest.times import iso_utc

pytestmark = pytest.mark.whole

MESSAGES = 20_000
KILLS = 4
FIRST_MS = 1_790_000_000_000

BOX = probe(topic="cellar/K1/box", payload="json", pointer="/kPa", time_pointer="/at")


def test_every_time_is_there_exactly_once_after_kills_at_random_moments(disk_path: Path) -> None:
    chance = random.Random(20261125)
    with Mosquitto(disk_path) as broker:
        file = write_cellar(disk_path, SITE, table("[store]", commit="0.2 s"), mqtt(broker.port), KEG, BOX)
        running = Leeside(file)
        with running:
            # The session must exist before the first message: a broker keeps nothing for a name it never heard.
            eventually(lambda: "broker: connected" in leeside("now", file).stdout)
            killed: set[int] = set()
            publisher = threading.Thread(target=_publish, args=(broker, killed))
            publisher.start()
            pause = threading.Event()
            while publisher.is_alive():
                pause.wait(chance.uniform(0.1, 1.0))
                for role in ("ingest", "alerts"):
                    if role == "ingest" or chance.random() < 0.4:
                        killed |= _kill(running, role)
            publisher.join()
            eventually(lambda: _stored(running) == MESSAGES, within_s=90)
        history = leeside_process("history", file, "k1-pressure", "--csv")
    wanted = [f"{iso_utc(FIRST_MS + index * 1000)},{50 + index % 100 / 10:.10g},kPa,good" for index in range(MESSAGES)]
    assert history.stdout.splitlines() == ["at,value,unit,quality", *wanted]
    with sqlite3.connect(running.store_path) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    # The supervisor waits longer each time, so there are fewer kills than tries; but these did happen.
    assert len(killed) >= KILLS


def _publish(broker: Mosquitto, killed: set[int]) -> None:
    """At a pace that spreads the messages over the kills, however long those take."""
    command = ["mosquitto_pub", "-h", broker.host, "-p", str(broker.port), "-t", "cellar/K1/box", "-q", "1", "-l"]
    process = subprocess.Popen(command, stdin=subprocess.PIPE)
    assert process.stdin is not None
    pause = threading.Event()
    for index in range(MESSAGES):
        text = f'{{"at": {(FIRST_MS + index * 1000) // 1000}, "kPa": {50 + index % 100 / 10:.1f}}}\n'
        process.stdin.write(text.encode())
        if index % 500 == 499:
            process.stdin.flush()
            pause.wait(0.2)
            _await_kills(killed, KILLS * (index + 1) // MESSAGES)
    process.stdin.close()
    assert process.wait(60) == 0


def _await_kills(killed: set[int], count: int) -> None:
    eventually(lambda: len(killed) >= count)


def _kill(running: Leeside, role: str) -> set[int]:
    pid = running.pid_of(role)
    try:
        os.kill(pid, signal.SIGKILL)
    except ProcessLookupError:
        return set()  # killed a moment ago and not started again yet
    return {pid}


def _stored(running: Leeside) -> int:
    with open_existing(running.store_path) as store:
        return int(store.connection.execute("SELECT count(DISTINCT at) FROM fresh").fetchone()[0])
