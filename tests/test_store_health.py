"""Whether the store is whole."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk

from alerts.command.checks.check_store import check_store
from ingest.errors import StoreError
from ingest.store import open_existing
from ingest.store.health import examine
from ingest.store.migrations import MIGRATIONS
from ingest.store.readings.fresh import Appender


def test_an_empty_store_is_whole(tmp_path: Path) -> None:
    with CellarOnDisk(tmp_path).store as store:
        health = examine(store)
    assert (health.faults, health.check, health.schema) == ((), "integrity_check", MIGRATIONS[-1].number)
    assert (health.oldest_ms, health.newest_ms) == (None, None)


def test_oldest_and_newest_reading_and_size(tmp_path: Path) -> None:
    house = CellarOnDisk(tmp_path)
    house.reading("k1-pressure", 50.0, 3600)
    house.reading("k1-pressure", 51.0, 10)
    health = examine(house.store)
    assert (health.oldest_ms, health.newest_ms) == (NOW - 3_600_000, NOW - 10_000)
    files = [file for file in tmp_path.iterdir() if file.name in ("cellar.db", "cellar.db-wal")]
    assert health.size_bytes == sum(file.stat().st_size for file in files) > 0
    house.store.close()


def test_settled_readings_count_too(tmp_path: Path) -> None:
    house = CellarOnDisk(tmp_path)
    series = house.series["k1-pressure"]
    with house.store.write() as connection:
        connection.execute(
            "INSERT INTO block (series, day, rows, from_ms, to_ms, data) VALUES (?, 1, 1, ?, ?, x'')",
            (series, NOW - 9_000_000, NOW - 8_000_000),
        )
    assert examine(house.store).newest_ms == NOW - 8_000_000
    house.reading("k1-pressure", 50.0, 10)
    health = examine(house.store)
    assert (health.oldest_ms, health.newest_ms) == (NOW - 9_000_000, NOW - 10_000)
    house.store.close()


def test_a_damaged_store_is_told(tmp_path: Path) -> None:
    house = CellarOnDisk(tmp_path)
    series = house.series["k1-pressure"]
    Appender(house.store).append([(series, NOW - 1000 * second, 50.0 + second / 7, 0) for second in range(4000)])
    page = house.store.connection.execute("PRAGMA page_size").fetchone()[0]
    house.store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    house.store.close()
    path = house.cellar.store_path
    data = bytearray(path.read_bytes())
    # Far from the schema at its beginning: pages in the middle of the readings.
    middle = len(data) // page // 2 * page
    data[middle : middle + 2 * page] = b"\xff" * (2 * page)
    path.write_bytes(data)
    with open_existing(path) as store:
        health = examine(store)
    assert health.faults
    assert (health.oldest_ms, health.newest_ms) == (None, None)
    found = next(check_store(house.cellar, NOW))
    assert not found.ok
    assert f"is damaged ({health.size_bytes / 1e6:.1f} MB" in found.text


def test_no_store_at_all(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no store yet"):
        open_existing(tmp_path / "cellar.db")
