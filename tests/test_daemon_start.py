"""The ingest daemon's start: the first readings are on disk soon, however long the interval between commits is."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

from brokers import Mosquitto
from cellar_text import SITE, mqtt, table, temperature, write_cellar
from eventually import eventually

from ingest.cellar import load_cellar
from ingest.daemon import IngestDaemon
from ingest.store import open_existing

ROOM = table("[[room]]", id="cellar", volume="30 m3")
AIR = temperature("air", "cellar", mounted="air", topic="cellar/air", every="10 s")


def test_the_first_reading_after_a_start_waits_for_no_others(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        connection = mqtt(broker.port, client_id="leeside-test")
        file = write_cellar(tmp_path, SITE, table("[store]", commit="60 s"), connection, ROOM, AIR)
        daemon = IngestDaemon(load_cellar(file), {})
        daemon.start()
        thread = threading.Thread(target=daemon.run)
        thread.start()
        try:
            # Published by hand until it arrives: the subscription may still be under way.
            with open_existing(tmp_path / "cellar.db") as store:

                def stored() -> bool:
                    broker.publish("cellar/air", "17.5")
                    return bool(store.connection.execute("SELECT count(*) FROM fresh").fetchone()[0])

                eventually(stored)
        finally:
            daemon.stop_event.set()
            thread.join(10)
            daemon.stop()


def test_the_daemon_starts_without_numpy() -> None:
    """Numpy costs time and memory; upkeep imports it once there is something to settle."""
    code = "import sys, ingest.daemon; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
