"""Stores that former versions made: each opens, is brought up to date, and reads the same."""

from __future__ import annotations

import gzip
import json
import sqlite3
from pathlib import Path

import pytest

from ingest.store import Store, create_or_open, open_existing
from ingest.store.alarms.alarm_record import alarm_rows, transitions
from ingest.store.health import examine
from ingest.store.journal.entries import entries
from ingest.store.migrations import MIGRATIONS, schema_differences, version_of
from ingest.store.readings.scales import scales
from ingest.store.readings.series import all_series
from ingest.store.readings.series_history import raw

STORES = Path(__file__).parent / "data" / "stores"
# Commit -> the schema that its store has. 3d575ef wrote it under the number 5.
SCHEMAS = {
    "9635c75": 1, "e93b2f0": 1, "7a9eb5e": 1, "b26497b": 2, "3d575ef": 4, "1519900": 4, "07622b8": 5, "a9c9ea3": 6,
    "fb48e97": 7, "a07cad8": 8, "a85516a": 9, "a0e188e": 10, "4c7b3c8": 11,
}  # fmt: skip
# The first two commits had another table of scales under the same number.
DIFFERENT = {"9635c75", "e93b2f0"}
NOW = 1_764_547_200_000


def unpacked(commit: str, folder: Path) -> Path:
    path = folder / "cellar.db"
    path.write_bytes(gzip.decompress((STORES / f"{commit}.db.gz").read_bytes()))
    return path


def up_to_date(commit: str, folder: Path) -> Store:
    return create_or_open(unpacked(commit, folder), NOW + 1_000_000)


def test_every_former_store_is_looked_at() -> None:
    assert {path.name.removesuffix(".db.gz") for path in STORES.glob("*.gz")} == set(SCHEMAS)


@pytest.mark.parametrize("commit", SCHEMAS)
def test_a_former_store_is_brought_to_the_schema_of_a_new_one(commit: str, tmp_path: Path) -> None:
    with up_to_date(commit, tmp_path) as store:
        assert version_of(store.connection) == MIGRATIONS[-1].number
        assert schema_differences(store.connection) == []
        numbers = [row[0] for row in store.connection.execute("SELECT number FROM migration ORDER BY number")]
        assert numbers == [migration.number for migration in MIGRATIONS]
        assert examine(store).faults == ()


@pytest.mark.parametrize("commit", SCHEMAS)
def test_readings_of_a_former_store_are_the_same(commit: str, tmp_path: Path) -> None:
    with up_to_date(commit, tmp_path) as store:
        pressure, temperature = (
            next(row.id for row in all_series(store) if row.probe == probe)
            for probe in ("k1-pressure", "k1-temperature")
        )
        rows = list(raw(store, pressure))
        assert [row.at_ms for row in rows] == [NOW + 10_000 * n for n in range(100)]
        # 1 psi = 6.894757293168361 kPa (0.45359237 kg x 9.80665 m/s2 / (0.0254 m)2, both exact by definition)
        assert [row.value for row in rows] == pytest.approx([(8.0 + n / 16) * 6.894757293168361 for n in range(100)])
        assert [row.quality for row in rows] == [n % 3 for n in range(100)]
        assert [row.value for row in raw(store, temperature)] == [12.0 + n / 8 for n in range(50)]
        assert [scale.unit for scale in scales(store, pressure)] == ["psi"]
        view = store.connection.execute("SELECT count(*), total(value) FROM fresh_reading").fetchone()
        assert view == (150, pytest.approx(sum(row.value for row in rows) + sum(12.0 + n / 8 for n in range(50))))


@pytest.mark.parametrize("commit", SCHEMAS)
def test_alarms_and_journal_of_a_former_store_are_the_same(commit: str, tmp_path: Path) -> None:
    with up_to_date(commit, tmp_path) as store:
        assert [row.key for row in alarm_rows(store)] == ["K1/pressure/low"]
        assert [(row.occurrence, row.value) for row in transitions(store)] == [("322", 3.5)]
        waiting = store.connection.execute("SELECT target, who, note FROM operator_event").fetchall()
        assert waiting == [("322", "Ana", "on my way")]
        body = store.connection.execute("SELECT body FROM pulse WHERE role = 'ingest'").fetchone()[0]
        assert json.loads(body)["samples"] == 150
        written = [(entry.kind, entry.place, entry.lot, entry.struck is not None) for entry in entries(store)]
    assert written == (
        [("lot", None, "riesling", False), ("first-filling", "K1", "riesling", False), ("sample", "K1", None, True)]
        if SCHEMAS[commit] >= 4
        else []
    )


@pytest.mark.parametrize("commit", SCHEMAS)
def test_a_migration_is_never_edited(commit: str, tmp_path: Path) -> None:
    """What a number stands for today is what the commit that brought it wrote."""
    connection = sqlite3.connect(unpacked(commit, tmp_path))
    try:
        assert version_of(connection) == SCHEMAS[commit]
        assert (schema_differences(connection) != []) == (commit in DIFFERENT)
    finally:
        connection.close()


def test_a_store_that_is_not_what_its_number_says_is_reported(tmp_path: Path) -> None:
    with up_to_date("a9c9ea3", tmp_path) as store:
        with store.write() as connection:
            connection.execute("DROP TABLE touched")
            connection.execute("CREATE TABLE stranger (a)")
            connection.execute("CREATE TABLE x_charts (a)")
        differences = schema_differences(store.connection)
    assert differences == ["table touched is missing", "table stranger is not leeside's"]
    with open_existing(tmp_path / "cellar.db") as store:
        assert version_of(store.connection) == MIGRATIONS[-1].number
