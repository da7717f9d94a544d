"""Entries brought in under other names and in another order: renamed vessels, calibrations, what was struck."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from a_desk import HOUR, MINUTE
from a_store import NOW, declared
from importing_desk import Desk, NewDesk, a_line, empty_journals, filled, kept
from journal_entries import journal_cellar

from ingest.journal.merging import JournalMerge, Mistake
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import entries
from ingest.store.journal.hand_results import hand_results
from ingest.store.journal.stored_ledger import contents
from ingest.store.readings.series import declare
from ingest.times import iso_utc


@pytest.fixture
def new_desk(tmp_path: Path) -> Iterator[NewDesk]:
    with empty_journals(tmp_path) as make:
        yield make


@pytest.fixture
def desk(new_desk: NewDesk) -> Desk:
    return filled(new_desk())


# ---- other cellar files --------------------------------------------------------------------------------------------


def test_a_renamed_vessel_and_probe_go_out_by_their_names_of_now(desk: Desk, new_desk: NewDesk) -> None:
    desk.write("calibration", "K1", probe="k1-pressure", points=[{"truth": 0.0, "shown": 1.0}], unit="kPa")
    desk.write("racking", sources=[{"vessel": "K1", "volume_l": 1.0}], targets=[{"vessel": "C1"}])
    desk.now += HOUR
    renamed = journal_cellar(("Keg1", "keg", 19.0), ("C1", "carboy", 10.0), ("K3", "keg", 25.0))
    keep_cellar_file(desk.store, renamed.text.replace('id = "Keg1"', 'id = "Keg1"\nwas = "K1"'), desk.now)
    probe = declared(probe="keg1", place="Keg1", former_probe="k1-pressure", former_place="K1", unit="kPa", gain=1.0)
    declare(desk.store, [probe], desk.now)
    lines = desk.lines()
    assert not any('"K1"' in line or "k1-pressure" in line for line in lines)
    assert desk.take(*lines) == JournalMerge(there=len(lines))
    other = new_desk()
    other.cellar, other.now = renamed, desk.now
    other.store.connection.execute("DELETE FROM cellar_file")
    keep_cellar_file(other.store, renamed.text, NOW)
    declare(other.store, [declared(probe="keg1", place="Keg1", unit="kPa", gain=1.0)], NOW)
    assert other.take(*lines).mistakes == []
    assert contents(other.store, desk.now)["Keg1"] == contents(desk.store, desk.now)["Keg1"]
    assert hand_results(other.store, "free_so2") == hand_results(desk.store, "free_so2")
    assert other.lines() == lines


def test_a_new_probe_of_a_former_name_keeps_its_own_entries(desk: Desk) -> None:
    zero: dict[str, Any] = {"probe": "k1-pressure", "points": [{"truth": 0.0, "shown": 1.0}], "unit": "kPa"}
    desk.write("calibration", "K1", **zero)
    desk.now += HOUR
    moved = declared(probe="k3-pressure", place="K1", former_probe="k1-pressure", unit="kPa", gain=1.0)
    declare(desk.store, [moved, declared(place="K3", unit="kPa", gain=1.0)], desk.now)
    desk.write("calibration", "K3", **zero)
    lines = desk.lines(kinds=["calibration"])
    assert [json.loads(line)["body"]["probe"] for line in lines] == ["k3-pressure", "k1-pressure"]
    assert desk.take(*lines) == JournalMerge(there=2)


# ---- the order of things -------------------------------------------------------------------------------------------


def test_a_calibration_counts_as_it_was_when_it_was_written(desk: Desk, new_desk: NewDesk) -> None:
    at_zero: dict[str, Any] = {"probe": "k1-pressure", "points": [{"truth": 0.0, "shown": 1.0}], "unit": "kPa"}
    first = desk.write("calibration", "K1", **at_zero)
    desk.strike(first.id)
    # By now the first no longer counts; while it did, the second would have been measured through it.
    desk.write("calibration", "K1", **at_zero)
    other = new_desk()
    other.now = desk.now
    assert other.take(*desk.lines()[::-1]).mistakes == []
    assert kept(other.store) == kept(desk.store)


def test_what_happened_at_one_moment_stays_in_its_order_under_new_numbers(desk: Desk, new_desk: NewDesk) -> None:
    other = new_desk()
    other.write("lot", lot="B", name="Rebula", style="white")
    other.write("vessel-status", "C1", status="emptied")
    other.write("first-filling", "C1", "B", at=NOW + 2 * HOUR, volume_l=9.0)
    other.write("sample", "C1", at=NOW + 2 * HOUR, volume_l=9.0)
    assert desk.take(*other.lines()[::-1], new_numbers=True).mistakes == []
    assert [entry.kind for entry in entries(desk.store, vessel="C1")] == ["vessel-status", "first-filling", "sample"]


def test_a_struck_lot_and_what_was_struck_with_it_come_in(desk: Desk, new_desk: NewDesk) -> None:
    desk.strike(1, with_later=True)
    other = new_desk()
    other.now = desk.now
    assert other.take(*desk.lines()).mistakes == []
    assert kept(other.store) == kept(desk.store)


def test_a_vessel_that_was_emptied_since_is_no_reason(desk: Desk) -> None:
    start = NOW + 2 * HOUR
    desk.write("first-filling", "K3", "A", at=start + 10 * MINUTE, volume_l=5.0)
    desk.write("vessel-status", "K3", at=start + 20 * MINUTE, status="emptied")
    sources = [{"vessel": "K1", "volume_l": 16.0}]
    desk.write("racking", at=start + 30 * MINUTE, sources=sources, targets=[{"vessel": "K3"}])
    told = desk.refused(a_line("sample", 5, "K1", volume_l=0.5), a_line("sample", 15, "K3", volume_l=1.0))
    assert [line for line, _ in told] == [1]


def test_a_calibration_that_is_struck_with_its_lot_no_longer_counts(desk: Desk, new_desk: NewDesk) -> None:
    def correction() -> tuple[float, float]:
        query = "SELECT gain, offset FROM scale WHERE kind = 'calibration' ORDER BY from_ms DESC, id DESC"
        found: tuple[float, float] = desk.store.connection.execute(query).fetchone()
        return found

    zero: dict[str, Any] = {"probe": "k1-pressure", "points": [{"truth": 0.0, "shown": 1.0}], "unit": "kPa"}
    desk.write("calibration", None, "A", **zero)
    assert correction() == (1.0, -1.0)
    desk.strike(1, with_later=True)
    assert correction() == (1.0, 0.0)
    other = new_desk()
    other.now = desk.now
    assert other.take(*desk.lines()).mistakes == []
    assert kept(other.store) == kept(desk.store)


def test_an_entry_in_the_place_of_one_that_holds_is_refused(desk: Desk) -> None:
    first = {"id": 9, **a_line("sample", 5, "K1", volume_l=0.1)}
    second = {"id": 10, **a_line("sample", 5, "K1", volume_l=0.2), "in_place_of": 9}
    assert desk.refused(first, second) == [
        Mistake(2, "in_place_of = 9: sample no. 9 (K1) still holds there; strike it")
    ]
    (gone,) = desk.refused({"id": 10, **a_line("sample", 5, "K1", volume_l=0.2), "in_place_of": 77})
    assert "there is no such entry" in gone.why
    struck = {"at": iso_utc(NOW + 4 * HOUR), "who": "Ben", "reason": "amended by 10", "together_with": 10}
    assert desk.take(first | {"struck": struck}, second).mistakes == []
    assert desk.volume("K1") == pytest.approx(15.8)
