"""The ingest daemon's start: the first readings are on disk soon, however long the interval between commits is."""

from __future__ import annotations

import threading
from pathlib import Path

from brokers import Mosquitto
from eventually import eventually

from ingest.cellar import load_cellar
from ingest.daemon import IngestDaemon
from ingest.store import open_existing

CELLAR = """
[site]
name = "Mill Lane cellar"
timezone = "Europe/Ljubljana"
[store]
commit = "60 s"
[mqtt]
host = "127.0.0.1"
port = {port}
client_id = "leeside-test"
[[room]]
id = "cellar"
volume = "30 m3"
[[probe]]
id = "air"
at = "cellar"
quantity = "temperature"
mounted = "air"
topic = "cellar/air"
unit = "degC"
every = "10 s"
"""


def test_the_first_reading_after_a_start_waits_for_no_others(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        file = tmp_path / "cellar.toml"
        file.write_text(CELLAR.format(port=broker.port))
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

                eventually(stored, within_s=5.0)
        finally:
            daemon.stop_event.set()
            thread.join(10)
            daemon.stop()
