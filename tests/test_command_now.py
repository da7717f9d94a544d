"""`leeside now`: what it says about the daemons."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_cellar_on_disk import CellarOnDisk
from cellar_text import write_cellar
from running import leeside

from ingest.process import wall_ms
from ingest.pulse import AlertsPulse
from ingest.store.pulse_rows import write_pulse


@pytest.mark.parametrize(("waiting", "words"), [(1, "1 message waits to be sent"), (2, "2 messages wait to be sent")])
def test_waiting_messages_are_counted(waiting: int, words: str, tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path)
    file = write_cellar(tmp_path, on_disk.cellar.text)
    with on_disk.store.write() as connection:
        write_pulse(connection, AlertsPulse(waiting_messages=waiting), wall_ms(), wall_ms())
    assert words in leeside("now", file).stdout
