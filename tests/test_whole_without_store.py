"""A store that takes no writes, under all of leeside: the alarm that matters goes out, and the cause is named."""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import keg, limit, mail, mqtt, probe, site, write_cellar
from eventually import eventually
from mail_server import Inbox, mail_server, plain_text
from running import Leeside, leeside

from ingest.simulation.loopback import free_port
from ingest.store import open_existing
from ingest.store.alarms.messages import recent_messages
from ingest.store.readings.series_history import raw

pytestmark = pytest.mark.whole

UNLIMITED = resource.RLIM_INFINITY
# The alerts daemon writes nothing until its pulse is due (17 s), waits ten for the lock, and the store has twenty to
# come back: 40 s were measured, and a busy machine may take much longer.
LONG_S = 180.0

_HOLD = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.read()
"""


@contextmanager
def _held(running: Leeside) -> Iterator[None]:
    """Another program holds the store's write lock."""
    words = [sys.executable, "-c", _HOLD, str(running.store_path)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdin and holder.stdout
        assert holder.stdout.readline() == "held\n"
        try:
            yield
        finally:
            holder.stdin.close()


@contextmanager
def _full(running: Leeside) -> Iterator[None]:
    """No file of the daemons may grow, as on a full disk."""
    log_bytes = running.store_path.with_name("cellar.db-wal").stat().st_size
    daemons = [running.pid_of(role) for role in ("ingest", "alerts")]
    for daemon in daemons:
        resource.prlimit(daemon, resource.RLIMIT_FSIZE, (log_bytes, UNLIMITED))
    yield
    for daemon in daemons:
        resource.prlimit(daemon, resource.RLIMIT_FSIZE, (UNLIMITED, UNLIMITED))


@contextmanager
def _away(running: Leeside) -> Iterator[None]:
    """The store is moved away with its log."""
    aside = running.store_path.parent / "aside"
    aside.mkdir()
    files = [running.store_path.with_name(f"cellar.db{end}") for end in ("", "-wal", "-shm")]
    for file in files:
        file.rename(aside / file.name)
    yield
    for file in files:
        (aside / file.name).rename(file)


def _cellar(folder: Path, broker: Mosquitto, mail_port: int) -> Path:
    low = limit(
        at="K1", quantity="pressure", low="5 kPa", deadband="1 kPa", on_delay="1 s", off_delay="0 s", priority="high"
    )
    box = probe(topic="cellar/K1/box", payload="json", pointer="/kPa", time_pointer="/at", every="30 s")
    return write_cellar(folder, site(), mqtt(broker.port), keg(), box, low, mail(mail_port))


def _publish(broker: Mosquitto, kpa: float) -> None:
    broker.publish("cellar/K1/box", f'{{"at": {time.time():.3f}, "kPa": {kpa}}}')


@pytest.mark.parametrize(
    ("trouble", "cause"),
    [
        (_held, "another program has held the store"),
        (_full, "the disk does not take more"),
        (_away, "the store was deleted or moved away"),
    ],
    ids=["a foreign lock", "a full disk", "moved away"],
)
def test_an_alarm_goes_out_while_the_store_takes_nothing(disk_path: Path, trouble: object, cause: str) -> None:
    assert callable(trouble)
    inbox, mail_port = Inbox(), free_port()
    with Mosquitto(disk_path) as broker, mail_server(inbox, mail_port):
        running = Leeside(_cellar(disk_path, broker, mail_port))
        with running:
            _publish(broker, 40.0)
            eventually(lambda: "40.0 kPa" in leeside("now", running.file).stdout)
            with trouble(running):
                _publish(broker, 3.0)
                eventually(lambda: len(inbox.mails) == 2, within_s=LONG_S)
                assert [mail["Subject"] for mail in inbox.mails] == [
                    "HIGH PRIORITY: leeside store takes no writes",
                    "HIGH PRIORITY: K1 pressure 3.0 kPa, below 5 kPa",
                ]
                assert cause in " ".join(plain_text(inbox.mails[0]).split())
                now = leeside("now", running.file)
                assert cause in now.stdout + now.stderr
                assert "NOT RESPONDING" not in now.stdout
            eventually(
                lambda: "BACK TO NORMAL after: leeside store takes no writes" in _subjects(inbox), within_s=LONG_S
            )
            eventually(lambda: "3.0 kPa" in leeside("alarms", running.file).stdout, within_s=LONG_S)
            _publish(broker, 40.0)
            eventually(lambda: len(inbox.mails) >= 4)
        assert _subjects(inbox)[2:] == [
            "BACK TO NORMAL after: leeside store takes no writes",
            "BACK TO NORMAL at 40.0 kPa after: K1 pressure 3.0 kPa, below 5 kPa",
        ]
        with open_existing(running.store_path) as store:
            assert [row.state for row in recent_messages(store)] == ["sent"] * 4
            assert [row.value for row in raw(store, 1)] == [40.0, 3.0, 40.0]


def _subjects(inbox: Inbox) -> list[str]:
    return [mail["Subject"] for mail in inbox.mails]
