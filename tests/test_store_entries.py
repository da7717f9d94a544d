"""The stored journal: nothing is lost, nothing is half there, and what is asked for is found."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from a_desk import HOUR, MINUTE, Desk
from a_store import NOW, new_store
from journal_entries import a_body, journal_cellar

from ingest.errors import EntryRefused
from ingest.journal.entry import Draft, Strike
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import entries, entry, strike, write_entry
from ingest.store.journal.hand_results import HandResult, hand_results
from ingest.store.journal.stored_ledger import (
    contents,
    equipment_of,
)
from ingest.store.journal.vessel_use import VesselUseCache


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    cellar = journal_cellar()
    with new_store(tmp_path) as store:
        keep_cellar_file(store, cellar.text, NOW - HOUR)
        desk = Desk(store, cellar)
        desk.write("lot", lot="A", name="Malvasia", style="white")
        desk.write("first-filling", "K1", "A", volume_l=16.0)
        yield desk


def test_what_was_written_is_read_back_whole(desk: Desk) -> None:
    written = desk.write("inspection", "K1", clarity="hazy", remark="žlahtno")
    assert entry(desk.store, written.id) == written
    assert entries(desk.store, kinds=["inspection"]) == [written]
    assert [each.kind for each in entries(desk.store)] == ["lot", "first-filling", "inspection"]
    assert entry(desk.store, 99) is None


def test_the_future_is_refused_beyond_five_minutes(desk: Desk) -> None:
    with pytest.raises(EntryRefused, match="is 6 min in the future"):
        desk.write("inspection", "K1", clarity="clear", at=desk.now + HOUR + 6 * MINUTE)
    desk.write("inspection", "K1", clarity="clear", at=desk.now + HOUR + 4 * MINUTE)


@pytest.mark.parametrize(
    ("kind", "place", "lot", "said", "why"),
    [
        ("first-filling", None, "A", {}, "first-filling place: is missing: say at which vessel"),
        ("first-filling", "K9", "A", {}, 'first-filling place = "K9": is not in any cellar file of this store'),
        ("first-filling", "K3", None, {}, "first-filling lot: is missing"),
        (
            "first-filling",
            "K3",
            "B",
            {},
            'first-filling lot = "B": is described by no entry; write one of kind lot first. Known: A',
        ),
        ("lot", "K3", "B", {"name": "B", "style": "red"}, "has no place of its own"),
        ("lot", None, "any", {"name": "B", "style": "red"}, "stands for every lot in limits"),
        ("lot", None, "B 2", {"name": "B", "style": "red"}, "1 to 64 letters"),
        ("titration", None, None, {"quantity": "free", "method": "elsewhere", "so2_mg_l": 3.0}, "a vessel, or a lot"),
        ("topping", "K1", None, {"volume_l": 1.0}, "say a vessel it came from, bought bottles, or its lot"),
        ("topping", "K1", None, {"volume_l": 1.0, "source": "K1"}, "cannot be topped up from itself"),
        ("topping", "K1", "A", {"volume_l": 1.0, "source": "C1"}, "the vessels say which wine it is"),
        ("racking", None, None, {"sources": [{"vessel": "K1"}], "targets": [{"vessel": "K7"}]}, 'targets = "K7"'),
        ("sample", "cellar", None, {}, "is a room; this is about a vessel"),
    ],
)
def test_an_entry_that_does_not_say_enough_is_refused(
    desk: Desk, kind: str, place: str | None, lot: str | None, said: dict[str, Any], why: str
) -> None:
    desk.cellar = journal_cellar(more='[[room]]\nid = "cellar"\n')
    with pytest.raises(EntryRefused) as caught:
        desk.write(kind, place, lot, **said)
    assert why in str(caught.value)
    assert len(entries(desk.store)) == 2


def test_all_that_is_missing_is_told_at_once(desk: Desk) -> None:
    draft = Draft("first-filling", desk.now + HOUR, " ", a_body("first-filling"))
    with pytest.raises(EntryRefused) as caught:
        write_entry(desk.store, draft, desk.cellar, desk.now)
    assert [problem.key for problem in caught.value.problems] == ["who", "at", "place", "lot"]


def test_a_name_that_no_text_can_keep_is_refused_and_a_pasted_space_is_not(desk: Desk) -> None:
    draft = Draft("inspection", desk.now, "A\udcff", a_body("inspection", remark="5\u00a0L"), "K1")
    with pytest.raises(EntryRefused, match="holds half a character"):
        write_entry(desk.store, draft, desk.cellar, desk.now)


def test_a_struck_entry_stays_readable_and_counts_no_more(desk: Desk) -> None:
    wrong = desk.write("sample", "K1", volume_l=3.0)
    assert desk.volume("K1") == pytest.approx(13.0)
    (struck,) = strike(desk.store, wrong.id, " Ben ", "read the glass wrong", desk.now)
    assert struck.struck == Strike(desk.now, "Ben", "read the glass wrong")
    assert desk.volume("K1") == 16.0
    assert entries(desk.store)[-1] == struck
    assert wrong.id not in [each.id for each in entries(desk.store, struck=False)]
    for id, who, reason, why in (
        (wrong.id, "Ben", "again", "struck already by Ben: read the glass wrong"),
        (99, "Ben", "x", "there is no entry of that number"),
        (1, "", "x", "say who strikes it"),
        (1, "Ben", " ", "say why"),
        (1, "Ben", "half \ud800", "holds half a character"),
        (1, "B\x1bn", "x", 'who = "B.u001bn": must not hold control characters'),
    ):
        with pytest.raises(EntryRefused, match=why):
            strike(desk.store, id, who, reason, desk.now)


def test_a_strike_takes_later_entries_along_only_when_told(desk: Desk) -> None:
    desk.write("racking", sources=[{"vessel": "K1"}], targets=[{"vessel": "K3"}])
    desk.write("sample", "K3", volume_l=0.1)
    with pytest.raises(EntryRefused) as caught:
        strike(desk.store, 2, "Ben", "other keg", desk.now)
    assert caught.value.later == (3, 4)
    assert [each.id for each in strike(desk.store, 2, "Ben", "other keg", desk.now, with_later=True)] == [2, 3, 4]
    rows = desk.store.connection.execute("SELECT entry, together_with, reason FROM strike ORDER BY id").fetchall()
    assert rows == [(2, None, "other keg"), (3, 2, "other keg"), (4, 2, "other keg")]
    assert desk.volume("K3") is None


def test_the_only_word_on_a_lot_is_not_struck_from_under_its_fills(desk: Desk) -> None:
    with pytest.raises(EntryRefused, match="no entry would say what A is") as caught:
        strike(desk.store, 1, "Ben", "misspelt", desk.now)
    assert caught.value.later == (2,)
    desk.write("lot", lot="A", name="Malvazija", style="white")
    strike(desk.store, 1, "Ben", "misspelt", desk.now)


def test_a_back_dated_entry_takes_later_ones_along_only_when_told(desk: Desk) -> None:
    fill = entries(desk.store)[1]
    sample = desk.write("sample", "K1", volume_l=15.5)
    with pytest.raises(EntryRefused, match=f"sample no. {sample.id}"):
        desk.write("sample", "K1", at=fill.at_ms + 1, volume_l=1.0)
    made = desk.write("sample", "K1", at=fill.at_ms + 1, with_later=True, volume_l=1.0)
    gone = entry(desk.store, sample.id)
    assert gone is not None
    assert gone.struck == Strike(desk.now, "Ana", f"could not be with sample no. {made.id} (K1)", made.id)
    assert desk.volume("K1") == pytest.approx(15.0)


def test_entries_are_found_by_vessel_lot_kind_and_time(desk: Desk) -> None:
    desk.write("inspection", "C1", clarity="clear")
    racking = desk.write("racking", sources=[{"vessel": "K1"}], targets=[{"vessel": "K3"}])
    look = desk.write("inspection", "K3", clarity="clear")
    desk.write("inspection", "K1", clarity="clear")

    def found(**asked: Any) -> list[int]:
        return [each.id for each in entries(desk.store, **asked)]

    assert found() == [1, 2, 3, 4, 5, 6]
    assert found(vessel="K3") == [4, 5]
    assert found(vessel="K1") == [2, 4, 6]
    assert found(lot="A") == [1, 2, 4, 5]
    assert found(kinds=["inspection"]) == [3, 5, 6]
    assert found(kinds=["inspection"], newest=2) == [5, 6]
    assert found(from_ms=racking.at_ms, to_ms=look.at_ms) == [4]


def test_a_renamed_vessel_keeps_its_journal(desk: Desk) -> None:
    text = desk.cellar.text.replace('id = "K1"', 'id = "Keg1"\nwas = "K1"')
    desk.now += HOUR
    keep_cellar_file(desk.store, text, desk.now)
    desk.cellar = journal_cellar(("Keg1", "keg", 19.0), ("C1", "carboy", 10.0), ("K3", "keg", 25.0))
    desk.write("sample", "Keg1", volume_l=1.0)
    assert desk.volume("Keg1") == pytest.approx(15.0)
    assert [each.id for each in entries(desk.store, vessel="Keg1")] == [2, 3]
    assert entries(desk.store, vessel="K1") == []


def test_the_capacity_of_then_counts(desk: Desk) -> None:
    smaller = desk.cellar.text.replace("25.0 L", "20.0 L")
    desk.now += HOUR
    keep_cellar_file(desk.store, smaller, desk.now)
    changed = desk.now
    desk.cellar = journal_cellar(("K1", "keg", 19.0), ("C1", "carboy", 10.0), ("K3", "keg", 20.0))
    with pytest.raises(EntryRefused, match="brimful it takes 20 L"):
        desk.write("first-filling", "K3", "A", volume_l=24.0)
    desk.write("first-filling", "K3", "A", volume_l=24.0, at=changed - 1)
    assert contents(desk.store, changed - 1)["K3"].headspace_l == pytest.approx(1.0)
    # What was right then is not made impossible by the smaller one, and hinders no strike.
    strike(desk.store, desk.write("inspection", "K3", clarity="clear").id, "Ben", "other keg", desk.now)


def test_an_unreadable_file_of_once_hides_no_vessel(desk: Desk) -> None:
    desk.now += HOUR
    keep_cellar_file(desk.store, "[[vessel]", desk.now)
    keep_cellar_file(desk.store, '[[vessel]]\nid = "K3"\ncapacity = "much"\n', desk.now + 1)
    assert desk.volume("K1") == 16.0
    assert equipment_of(desk.store.connection).capacity_l("K3", desk.now + 2) == 25.0


def test_results_are_there_by_entry_and_gone_with_a_strike(desk: Desk) -> None:
    first = desk.free("K1", 30.0)
    second = desk.free("K1", 32.0, at=desk.now)
    below = desk.write(
        "titration",
        "K1",
        quantity="free",
        method="iodometric",
        flasks=[{"titre_ml": 0.1}],
        blank_ml=0.2,
        sample_ml=25.0,
    )
    desk.write("measurement", "K1", quantity="pH", value=3.3)
    wanted = [HandResult(first.id, "free_so2", first.at_ms, 30.0, 2.0, "mg/L", "K1", None, None, False)]
    wanted.append(HandResult(second.id, "free_so2", first.at_ms, 32.0, 2.0, "mg/L", "K1", None, None, False))
    assert hand_results(desk.store, "free_so2", vessel="K1") == wanted
    assert below.id not in [found.entry for found in wanted]
    assert [found.value for found in hand_results(desk.store, "pH", vessel="K1")] == [3.3]
    assert hand_results(desk.store, "free_so2", vessel="K3") == []
    assert hand_results(desk.store, "free_so2", from_ms=first.at_ms + 1) == []
    strike(desk.store, first.id, "Ben", "wrong flask", desk.now)
    assert hand_results(desk.store, "free_so2", vessel="K1") == wanted[1:]
    asked = hand_results(desk.store, "free_so2", vessel="K1", struck=True)
    assert [(found.entry, found.struck) for found in asked] == [(first.id, True), (second.id, False)]


def test_results_follow_a_lot_through_vessels(desk: Desk) -> None:
    desk.write("lot", lot="B", name="B", style="white")
    desk.write("first-filling", "C1", "B", volume_l=5.0)
    desk.free("K1", 30.0)
    desk.free("C1", 10.0)
    desk.write("racking", sources=[{"vessel": "K1"}, {"vessel": "C1"}], targets=[{"vessel": "K3"}])
    desk.free("K3", 24.0)
    desk.write("titration", None, "B", quantity="free", method="elsewhere", so2_mg_l=11.0)
    assert [found.value for found in hand_results(desk.store, "free_so2", lot="A")] == [30.0, 24.0]
    assert [found.value for found in hand_results(desk.store, "free_so2", lot="B")] == [10.0, 11.0]


def test_the_journal_is_only_added_to(desk: Desk) -> None:
    for statement in ("UPDATE entry SET who = 'Ben'", "DELETE FROM entry", "DELETE FROM strike"):
        if "strike" in statement:
            strike(desk.store, desk.write("inspection", "K1", clarity="clear").id, "Ben", "x", desk.now)
        with pytest.raises(sqlite3.IntegrityError, match="only added to"):
            desk.store.connection.execute(statement)


def test_empty_vessels_follow_entries_strikes_and_the_clock(desk: Desk) -> None:
    vessel_use = VesselUseCache(desk.store)
    assert vessel_use.at(desk.now).empty == frozenset()
    emptied = desk.write("vessel-status", "C1", status="emptied", at=desk.now + HOUR + 2 * MINUTE)
    assert vessel_use.at(desk.now).empty == frozenset()
    assert vessel_use.at(emptied.at_ms).empty == {"C1"}
    assert [vessel for vessel, held in contents(desk.store, emptied.at_ms).items() if held.empty] == ["C1"]
    strike(desk.store, emptied.id, "Ben", "it was not", desk.now)
    assert vessel_use.at(emptied.at_ms).empty == frozenset()
    asked: list[str] = []
    desk.store.connection.set_trace_callback(asked.append)
    vessel_use.at(emptied.at_ms + 1000)
    desk.store.connection.set_trace_callback(None)
    assert len(asked) == 1
