"""The store beside other processes and threads: readers that never end, many readers, entries during long work."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

import pytest
from a_store import NOW, declared, new_store, noisy_store, start_script
from eventually import eventually

from ingest.store import Store, open_existing
from ingest.store.alarms.operator_events import append_event
from ingest.store.backup.making import back_up
from ingest.store.disk_space import log_size
from ingest.store.opening import CHECKPOINT_PAGES, LOG_BYTES, PAGE_SIZE
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import raw
from ingest.writing.upkeep import Upkeep, UpkeepSettings

DAY = 86_400_000

_READER = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("BEGIN")
connection.execute("SELECT count(*) FROM fresh").fetchone()
print("reading", flush=True)
sys.stdin.read()
"""


def test_a_foreign_reader_makes_the_log_grow_and_its_end_makes_it_shrink(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        append = Appender(store)

        def write(commits: int) -> None:
            for _ in range(commits):
                first = append.newest_id
                append.append([(1, NOW + first + number, number / 7, 0) for number in range(20_000)])

        write(20)
        usual = log_size(store.path)
        # It is folded at CHECKPOINT_PAGES; one commit may lie over that.
        assert usual < 2 * CHECKPOINT_PAGES * PAGE_SIZE
        reader = subprocess.Popen(
            [sys.executable, "-c", _READER, store.path], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )
        assert reader.stdout is not None
        assert reader.stdin is not None
        assert reader.stdout.readline() == b"reading\n"
        write(40)
        # SQLite cannot begin its log again while somebody reads an old moment of it: all it can do is grow.
        grown = log_size(store.path)
        assert grown > 2 * LOG_BYTES
        reader.stdin.close()
        reader.wait(10)
        reader.stdout.close()
        write(20)
        assert log_size(store.path) <= LOG_BYTES + 2_000_000


_ENTRIES = """
import sys
from pathlib import Path
from ingest.store import open_existing
from ingest.store.alarms.operator_events import append_event
with open_existing(Path(sys.argv[1])) as store:
    while True:
        append_event(store, "acknowledge", "a2b", "Ana", "", 0)
        print("written", flush=True)
"""


@pytest.mark.parametrize("work", ["upkeep", "backup"])
def test_entries_are_written_beside_upkeep_and_backup(tmp_path: Path, work: str) -> None:
    """How long they wait is measured by benchmarks/waiting.py."""
    with new_store(tmp_path) as store:
        series = declare(store, [declared()], NOW)["k1-pressure"]
        for day in range(2):
            readings = [(series, NOW + day * DAY + step * 1000, step / 8, 0) for step in range(40_000)]
            Appender(store).append(readings)
        other = start_script(_ENTRIES, store.path)
        assert other.stdout is not None
        assert other.stdout.readline() == "written\n"
        before = _entries(store)
        if work == "backup":
            back_up(store.path, tmp_path, NOW, site="", cellar_text="")
        else:
            upkeep = Upkeep(store, UpkeepSettings(600.0), 0.0, ("summaries",))
            mono = 1000.0
            while upkeep.work(NOW + 10 * DAY, mono):
                mono += 0.05
            assert store.connection.execute("SELECT count(*) FROM fresh").fetchone() == (0,)
        during = _entries(store) - before
        other.terminate()
        other.communicate(timeout=30)
    assert during > 5


def _entries(store: Store) -> int:
    return int(store.connection.execute("SELECT count(*) FROM operator_event").fetchone()[0])


def test_readers_are_many_and_never_in_the_way(tmp_path: Path) -> None:
    store, series = noisy_store(tmp_path)
    stopping, seen = threading.Event(), []

    def read() -> None:
        with open_existing(store.path) as mine:
            while not stopping.is_set():
                seen.append(len(list(raw(mine, series))))

    with store:
        readers = [threading.Thread(target=read) for _ in range(3)]
        for reader in readers:
            reader.start()
        eventually(lambda: len(seen) > 10)
        for number in range(50):
            append_event(store, "acknowledge", f"a{number}", "Ana", "", NOW)
        stopping.set()
        for reader in readers:
            reader.join()
    assert set(seen) == {2000}
