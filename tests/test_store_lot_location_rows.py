"""Where lots lay, as it is kept: always what the whole journal would say, whatever is written, struck or renamed."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from a_store import NOW, new_store
from hypothesis import given
from hypothesis import strategies as st
from journal_acts import ACTS, VESSELS
from journal_entries import a_body, journal_cellar, lot_path

from ingest.cellar import Cellar
from ingest.errors import EntryRefused
from ingest.journal.entry import Draft, Entry
from ingest.journal.lot_locations import LotLocation
from ingest.store import Store
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import entries, strike, write_entry
from ingest.store.journal.lot_location_rows import renew_lot_locations, stored_lot_locations, stored_lots_of
from ingest.store.journal.stored_ledger import equipment_of
from ingest.store.migrations import MIGRATIONS, migrate

HOUR = 3_600_000


class Desk:
    """Somebody who writes in a journal that begins with a lot A and a lot B."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.cellar: Cellar = journal_cellar()
        self.now = NOW
        keep_cellar_file(store, self.cellar.text, NOW - HOUR)
        renew_lot_locations(store)
        for lot in "AB":
            self.write("lot", lot=lot, at=0, name=lot, style="white")

    def write(self, kind: str, place: str | None = None, lot: str | None = None, *, at: int, **said: Any) -> Entry:
        self.now += 1000
        draft = Draft(kind, at, "Ana", a_body(kind, **said), place, lot)
        return write_entry(self.store, draft, self.cellar, self.now)

    def locations(self, lot: str) -> list[LotLocation]:
        with self.store.read() as connection:
            return stored_lot_locations(connection, equipment_of(connection), lot)

    def lots_of(self, vessel: str) -> list[tuple[str, LotLocation]]:
        with self.store.read() as connection:
            return stored_lots_of(connection, equipment_of(connection), vessel)

    def afresh(self, lot: str) -> list[LotLocation]:
        with self.store.read() as connection:
            equipment = equipment_of(connection)
        return lot_path(entries(self.store), equipment, lot)

    def kept(self) -> bool:
        """Whether the answer comes from what is kept, without a look at entries."""
        asked: list[str] = []
        self.store.connection.set_trace_callback(asked.append)
        self.locations("A")
        self.store.connection.set_trace_callback(None)
        return not any("FROM entry" in one for one in asked)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with new_store(tmp_path) as store:
        yield Desk(store)


@given(st.lists(ACTS, max_size=20))
def test_what_is_kept_is_what_the_whole_journal_says(acts: list[tuple[int, Any]]) -> None:
    with tempfile.TemporaryDirectory() as folder, new_store(Path(folder)) as store:
        desk = Desk(store)
        for number, act in acts:
            try:
                if isinstance(act, bool):
                    known = entries(store)
                    strike(store, known[number % len(known)].id, "Ben", "x", desk.now, with_later=act)
                else:
                    kind, place, lot, said = act
                    desk.write(kind, place, lot, at=number, **said)
            except EntryRefused:
                continue
            assert desk.kept()
            for name in "AB":
                # Locations that begin with one entry stand in no order among themselves.
                assert sorted(desk.locations(name), key=str) == sorted(desk.afresh(name), key=str)
        for vessel in VESSELS:
            there = desk.lots_of(vessel)
            assert sorted(there, key=str) == sorted(
                ((lot, each) for lot in "AB" for each in desk.afresh(lot) if each.vessel == vessel), key=str
            )
            assert [each.from_ms for _, each in there] == sorted(each.from_ms for _, each in there)
            with store.write() as connection:
                connection.execute("DELETE FROM lot_stays_made")
            assert sorted(desk.lots_of(vessel), key=str) == sorted(there, key=str), "as the journal alone says"
            renew_lot_locations(store)


def test_a_strike_and_a_late_entry_change_where_a_lot_lay(desk: Desk) -> None:
    fill = desk.write("first-filling", "K1", "A", at=3, volume_l=10.0)
    racked = desk.write("racking", at=9, sources=[{"vessel": "K1"}], targets=[{"vessel": "K3"}])
    late = desk.write("racking", at=6, sources=[{"vessel": "K1", "volume_l": 2.0}], targets=[{"vessel": "C1"}])
    assert desk.locations("A") == [
        LotLocation("K1", 3, 9, 1.0, fill.id, racked.id),
        LotLocation("C1", 6, None, 1.0, late.id, None),
        LotLocation("K3", 9, None, 1.0, racked.id, None),
    ]
    strike(desk.store, racked.id, "Ben", "not yet", desk.now)
    assert desk.locations("A") == [
        LotLocation("K1", 3, None, 1.0, fill.id, None),
        LotLocation("C1", 6, None, 1.0, late.id, None),
    ]
    strike(desk.store, late.id, "Ben", "not at all", desk.now)
    assert desk.locations("A") == [LotLocation("K1", 3, None, 1.0, fill.id, None)]
    assert desk.kept()


def test_a_lot_that_is_topped_up_with_itself_has_one_location(desk: Desk) -> None:
    desk.write("first-filling", "K1", "A", at=3, volume_l=10.1)
    for at in range(4, 16):
        desk.write("topping", "K1", "A", at=at, volume_l=0.1 + at / 7)
        desk.write("sample", "K1", at=at, volume_l=0.1 + at / 7)
    assert len(desk.locations("A")) == 1


def test_a_vessel_that_is_renamed_is_renamed_in_what_is_kept(desk: Desk) -> None:
    desk.write("first-filling", "K1", "A", at=3, volume_l=10.0)
    text = desk.cellar.text.replace('id = "K1"', 'id = "Keg1"\nwas = "K1"')
    desk.now += HOUR
    keep_cellar_file(desk.store, text, desk.now)
    assert desk.kept()
    assert [location.vessel for location in desk.locations("A")] == ["Keg1"]
    assert renew_lot_locations(desk.store) is False


def test_without_what_is_kept_the_journal_is_asked_and_the_next_start_keeps_it(desk: Desk) -> None:
    desk.write("first-filling", "K1", "A", at=3, volume_l=10.0)
    wanted = desk.locations("A")
    with desk.store.write() as connection:
        connection.execute("DELETE FROM lot_stays_made")
        connection.execute("UPDATE lot_stay SET vessel = 'C1'")
    assert not desk.kept()
    assert desk.locations("A") == wanted
    keep_cellar_file(desk.store, desk.cellar.text, desk.now)
    assert desk.kept()
    assert desk.locations("A") == wanted


def test_a_store_of_before_is_filled_with_the_next_entry(desk: Desk) -> None:
    desk.write("first-filling", "K1", "A", at=3, volume_l=10.0)
    with desk.store.write() as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE name LIKE 'lot_stay%'").fetchall():
            if name in ("lot_stay", "lot_stays_made"):
                connection.execute(f"DROP TABLE {name}")
        connection.execute("DELETE FROM migration WHERE number >= 6")
    assert "where lots lay" in migrate(desk.store, NOW, MIGRATIONS[:6])
    assert not desk.kept()
    desk.write("sample", "K1", at=5, volume_l=0.1)
    assert desk.kept()
    assert desk.locations("A") == [LotLocation("K1", 3, None, 1.0, 3, None)]


def test_an_entry_that_cannot_be_read_does_not_hinder_the_start(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    with desk.store.write() as connection:
        connection.execute("DELETE FROM lot_stays_made")
        connection.execute(
            "INSERT INTO entry (id, kind, at_ms, written_ms, who, place, body)"
            " VALUES (9, 'first-filling', 5, 5, 'x', 'K1', '?')"
        )
    assert renew_lot_locations(desk.store) is False
    assert "where lots lay cannot be worked out: entry no. 9" in caplog.text


def test_the_locations_of_a_lot_are_found_by_an_index(desk: Desk) -> None:
    def plan(query: str, *values: object) -> str:
        rows: list[sqlite3.Row] = desk.store.connection.execute(f"EXPLAIN QUERY PLAN {query}", values).fetchall()
        return " ".join(str(row[3]) for row in rows)

    assert "INDEX lot_stay_of" in plan("SELECT vessel FROM lot_stay WHERE lot = ?", "A")
    for query in (
        "DELETE FROM lot_stay WHERE (from_ms, from_entry) >= (?, ?)",
        "UPDATE lot_stay SET to_ms = NULL WHERE to_ms >= 1 AND (to_ms, to_entry) >= (?, ?)",
    ):
        assert "SEARCH" in plan(query, 1, 1)
