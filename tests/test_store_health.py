"""Whether the store is whole."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk

from ingest.errors import StoreError
from ingest.store import open_existing
from ingest.store.health import examine
from ingest.store.migrations import MIGRATIONS


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


def test_a_damaged_store_is_told(tmp_path: Path) -> None:
    house = CellarOnDisk(tmp_path)
    for second in range(2000):
        house.reading("k1-pressure", 50.0 + second / 7, 10_000 - second)
    page = house.store.connection.execute("PRAGMA page_size").fetchone()[0]
    house.store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    house.store.close()
    path = house.cellar.store_path
    data = bytearray(path.read_bytes())
    middle = len(data) // page // 2 * page
    data[-page * 3 : -page] = b"\xff" * (page * 2)
    data[middle : middle + page] = b"\xff" * page
    path.write_bytes(data)
    try:
        with open_existing(path) as store:
            assert examine(store).faults
    except StoreError as error:
        assert "no readable leeside store" in str(error)


def test_no_store_at_all(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no store yet"):
        open_existing(tmp_path / "cellar.db")
