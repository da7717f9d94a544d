"""A disk that takes nothing more, under the real ingest daemon: the broker keeps what is not on disk."""

from __future__ import annotations

import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import KEG, SITE, mqtt, probe, table, write_cellar
from eventually import eventually

from ingest.store import open_existing
from ingest.store.pulse_rows import pulses
from ingest.store.readings.series_history import raw

pytestmark = pytest.mark.whole

FIRST_S = 1_790_000_000
UNLIMITED = resource.RLIM_INFINITY

BOX = probe(topic="cellar/K1/box", payload="json", pointer="/kPa", time_pointer="/at")


class Ingest:
    """The daemon alone, so that its limits are its own."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self.log = file.with_suffix(".log")

    def __enter__(self) -> Ingest:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen([sys.executable, "-m", "ingest.daemon", self._file], stderr=log)
        return self

    def limit(self, largest_file_bytes: int) -> None:
        """From now on no file of the daemon may grow beyond this: the next write fails as on a full disk."""
        resource.prlimit(self.process.pid, resource.RLIMIT_FSIZE, (largest_file_bytes, UNLIMITED))

    def said(self) -> str:
        return self.log.read_text("utf-8", "replace")

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(20)


def stored(folder: Path) -> list[float]:
    path = folder / "cellar.db"
    if not path.exists():
        return []
    with open_existing(path) as store:
        return [row.value for row in raw(store, 1)]


def publish(broker: Mosquitto, numbers: range) -> None:
    broker.publish("cellar/K1/box", *(f'{{"at": {FIRST_S + number}, "kPa": {number}}}' for number in numbers))


@pytest.mark.parametrize("killed", [False, True], ids=["room is made", "killed while it is full"])
def test_nothing_is_lost_on_a_full_disk(disk_path: Path, killed: bool) -> None:
    with Mosquitto(disk_path) as broker:
        file = write_cellar(disk_path, SITE, table("[store]", commit="0.2 s"), mqtt(broker.port), KEG, BOX)
        with Ingest(file) as daemon:
            publish_until_heard(broker, disk_path)
            log_bytes = (disk_path / "cellar.db-wal").stat().st_size
            daemon.limit(log_bytes)
            publish(broker, range(1, 600))
            eventually(lambda: "not stored yet" in daemon.said())
            assert "free some space" in daemon.said()
            assert stored(disk_path) == [0.0]
            if killed:
                daemon.process.kill()
                daemon.process.wait(10)
            else:
                daemon.limit(UNLIMITED)
                eventually(lambda: len(stored(disk_path)) == 600)
        if killed:
            with Ingest(file):
                eventually(lambda: len(stored(disk_path)) == 600)
    assert stored(disk_path) == [float(number) for number in range(600)]
    with open_existing(disk_path / "cellar.db") as store:
        assert store.connection.execute("SELECT count(*) FROM fresh").fetchone() == (600,)
        pulse = pulses(store).ingest
        assert store.connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    # Of the daemon that runs now; the killed one has taken its count along.
    assert pulse is not None
    assert bool(pulse.body.failed_commits) is not killed
    assert pulse.body.disk_free_bytes > 0


def publish_until_heard(broker: Mosquitto, folder: Path) -> None:
    """The first reading; again and again, for a broker keeps nothing for a session that it has yet to meet."""

    def heard() -> bool:
        try:
            if stored(folder):
                return True
        except Exception:  # noqa: BLE001  the store is being made at this moment
            return False
        publish(broker, range(1))
        return False

    eventually(heard)
