"""`leeside now`: what it says about the daemons."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from cellar_text import write_cellar
from running import leeside

from ingest.process import wall_ms
from ingest.pulse import AlertsPulse, BrokerPulse, IngestPulse
from ingest.store.pulse_rows import write_pulse


@pytest.mark.parametrize(("waiting", "words"), [(1, "1 message waits to be sent"), (2, "2 messages wait to be sent")])
def test_waiting_messages_are_counted(waiting: int, words: str, tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path)
    file = write_cellar(tmp_path, on_disk.cellar.text)
    with on_disk.store.write() as connection:
        write_pulse(connection, AlertsPulse(waiting_messages=waiting), wall_ms(), wall_ms())
    assert words in leeside("now", file).stdout


def test_a_broker_that_delivers_is_not_called_unconnected(tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path)
    file = write_cellar(tmp_path, on_disk.cellar.text)
    with on_disk.store.write() as connection:
        write_pulse(connection, IngestPulse(mqtt=BrokerPulse()), NOW - 5_000, NOW - 5_000)
    assert "broker: not connected yet" in leeside("now", file).stdout
    on_disk.reading("k1-pressure", 55.0, seconds_ago=1)
    shown = leeside("now", file).stdout
    assert "not connected yet" not in shown and "broker: connected since then" in shown
