"""Entries brought in: nothing twice, all or nothing, and every mistake at its line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_desk import HOUR, MINUTE
from a_store import NOW
from importing_desk import Desk, NewDesk, a_line, empty_journals, filled, kept

from ingest.exchange.entry_lines import entry_line
from ingest.journal.merging import JournalMerge, Mistake
from ingest.store.journal.entries import entries
from ingest.store.journal.stored_ledger import SNAPSHOT_EVERY, contents, equipment_of, load_ledger
from ingest.store.journal.vessel_use import VesselUseCache
from ingest.times import iso_utc


@pytest.fixture
def new_desk(tmp_path: Path) -> Iterator[NewDesk]:
    with empty_journals(tmp_path) as make:
        yield make


@pytest.fixture
def desk(new_desk: NewDesk) -> Desk:
    return filled(new_desk())


# ---- what is there and what is not ---------------------------------------------------------------------------------


def test_lines_without_numbers_get_the_next_ones_and_are_found_again(desk: Desk) -> None:
    twin = a_line("sample", 30, "K1", volume_l=0.5)
    lines = [
        a_line("lot", 5, lot="B", name="Rebula", style="white"),
        a_line("first-filling", 10, "C1", "B"),
        twin,
        twin,
    ]
    taken = desk.take(*lines)
    assert [(one.line, one.entry.id) for one in taken.new] == [(1, 3), (2, 4), (3, 5), (4, 6)]
    assert contents(desk.store, desk.now)["K1"].volume_l == pytest.approx(15.0)
    before = kept(desk.store)
    assert desk.take(*lines) == JournalMerge(there=4)
    assert desk.take(*lines[::-1], twin).new[0].entry.id == 7
    assert kept(desk.store) != before


def test_a_number_that_says_something_else_is_refused_by_name(desk: Desk) -> None:
    other = json.loads(desk.lines()[1])
    other["body"]["volume_l"] = 15.0
    other["who"] = "Eva"
    assert desk.refused(desk.lines()[0], other) == [
        Mistake(
            2,
            'no. 2 is there already and says something else: who is "Eva" here, "Ana" there;'
            " body volume_l is 15.0 here, 16.0 there",
        )
    ]
    del other["id"]
    assert "K1 holds 16 L of A: say that it is a blend" in desk.refused(other)[0].why


def test_a_number_twice_in_a_file_is_one_entry_or_a_mistake(desk: Desk) -> None:
    line = {"id": 9, **a_line("inspection", 5, "K1", clarity="clear")}
    assert desk.refused(line, {**line, "who": "Ben"}) == [
        Mistake(2, "no. 9 is in line 1 too, and says something else there")
    ]
    taken = desk.take(line, line)
    assert ([one.entry.id for one in taken.new], taken.there) == ([9], 1)
    assert desk.write("inspection", "K1", clarity="clear").id == 10


def test_a_strike_comes_after_the_entry_and_an_older_file_takes_none_back(desk: Desk) -> None:
    old = desk.lines()
    struck = json.loads(old[1]) | {"struck": {"at": "2026-11-25T22:40:00Z", "who": "Ben", "reason": "other keg"}}
    taken = desk.take(struck)
    assert [(one.line, one.entry.id, one.strike.reason) for one in taken.strikes] == [(1, 2, "other keg")]
    assert not contents(desk.store, desk.now)["K1"].known
    before = kept(desk.store)
    assert desk.take(struck) == JournalMerge(there=1)
    assert desk.take(*old) == JournalMerge(there=2)
    assert kept(desk.store) == before
    struck["struck"]["who"] = "Eva"
    assert "no. 2 is there already and was struck otherwise: by Eva" in desk.refused(struck)[0].why
    del struck["id"]
    assert "no. 2 is there already and was struck otherwise: by Eva" in desk.refused(struck)[0].why


def test_of_two_that_say_the_same_each_finds_the_one_that_is_struck_alike(desk: Desk) -> None:
    desk.write("inspection", "K1", at=NOW, clarity="clear")
    desk.strike(3)
    desk.write("inspection", "K1", at=NOW, clarity="clear")
    lines = desk.lines(kinds=["inspection"])
    assert desk.take(*lines, new_numbers=True) == JournalMerge(there=2)
    assert desk.take(*lines[::-1], new_numbers=True) == JournalMerge(there=2)


def test_another_journals_entries_name_each_other_by_their_new_numbers(desk: Desk, new_desk: NewDesk) -> None:
    other = new_desk()
    other.write("lot", lot="B", name="Rebula", style="white")
    other.write("first-filling", "C1", "B", volume_l=9.0)
    begun = other.write("racking", sources=[{"vessel": "C1"}], stage="begun")
    other.write("racking", sources=[{"vessel": "C1"}], targets=[{"vessel": "K3"}], begun=begun.id)
    other.strike(2, with_later=True)
    lines = other.lines()
    desk.now = other.now
    assert "no. 1 is there already and says something else" in desk.refused(*lines)[0].why
    taken = desk.take(*lines, new_numbers=True)
    assert [one.entry.id for one in taken.new] == [3, 4, 5, 6]
    finished = entries(desk.store)[-1]
    assert (finished.id, finished.struck and finished.struck.together_with) == (6, 4)
    assert json.loads(entry_line(finished))["body"]["begun"] == 5
    assert desk.take(*lines, new_numbers=True) == JournalMerge(there=4)
    (gone,) = desk.refused(*lines[:2], lines[3], new_numbers=True)
    assert gone == Mistake(3, "body begun = 3: there is no such entry in this file")


def test_what_took_an_entry_along_must_be_there(desk: Desk) -> None:
    struck = {"at": iso_utc(NOW + 3 * HOUR), "who": "Ben", "reason": "x", "together_with": 7}
    line = a_line("inspection", 5, "K1", clarity="clear") | {"struck": struck}
    assert desk.refused(line) == [
        Mistake(1, "struck together_with = 7: there is no such entry in this file, or in the journal")
    ]


def test_what_a_racking_finishes_must_be_there(desk: Desk) -> None:
    """Else the next one that is begun could get that number, and count as finished at once."""
    line = a_line("racking", 5, sources=[{"vessel": "K1", "volume_l": 5.0}], targets=[{"vessel": "K3"}], begun=7)
    assert desk.refused(line) == [Mistake(1, "body begun = 7: there is no such entry in this file, or in the journal")]
    begun = a_line("racking", 4, sources=[{"vessel": "K1"}], stage="begun")
    assert [one.entry.id for one in desk.take(begun | {"id": 7}, line).new] == [7, 8]


# ---- the journal's own checks --------------------------------------------------------------------------------------


def test_every_mistake_is_told_and_nothing_is_written(desk: Desk) -> None:
    lines = [
        a_line("inspection", 1, "K1", clarity="clear"),
        a_line("sample", 2, "K9", volume_l=1.0),
        a_line("first-filling", 3, "C1", "B", volume_l=9.0),
        a_line("sample", 4, "K1", volume_l=16.5),
        a_line("inspection", 1, "K1", clarity="clear") | {"at": "2031-01-01T00:00:00Z"},
        a_line("inspection", 1, "K1", clarity="clear") | {"written": "2026-11-25T20:00:00Z"},
        a_line("inspection", 1, "K1", clarity="clear") | {"written": "2031-01-01T00:00:00Z"},
        a_line("sample", 5, volume_l=1.0),
        a_line("calibration", 6, probe="k9", points=[{"truth": 0.0, "shown": 1.0}], unit="kPa"),
        a_line(
            "calibration", 6, probe="k1-pressure", points=[{"truth": 0, "shown": 0}, {"truth": 9, "shown": 1}], unit=""
        ),
        a_line("inspection", 1, "K1", clarity="clear")
        | {"struck": {"at": "2031-01-01T00:00:00Z", "who": "Ben", "reason": "x"}},
    ]
    told = desk.refused(*lines)
    wanted = [
        (2, 'sample place = "K9": is not in any cellar file of this store'),
        (3, 'first-filling lot = "B": is described by no entry'),
        (4, "sample no. 6 (K1): 16.5 L drawn as a sample from K1, which holds 16 L: 0.5 L too much"),
        (5, "inspection at: is "),
        (6, "inspection written: is before it happened"),
        (7, "inspection written: is in the future"),
        (8, "sample place: is missing"),
        (9, "calibration probe: k9 has never been read"),
        (10, "calibration points: "),
        (11, "struck at: is in the future"),
    ]
    assert [line for line, _ in told] == [line for line, _ in wanted]
    for (_, why), (_, words) in zip(told, wanted, strict=True):
        assert words in why
    assert desk.take(lines[0]).mistakes == []


def test_an_old_entry_that_could_then_not_be_is_told_at_the_line_that_is_why(desk: Desk) -> None:
    sample = desk.write("sample", "K1", volume_l=15.5)
    fill = json.loads(desk.lines()[1])
    late = a_line("sample", 35, "K1", volume_l=0.6)
    told = desk.refused(a_line("inspection", 1, "K1", clarity="clear"), late)
    why = f"sample no. {sample.id} (K1), which is there already, could then not be: 15.5 L drawn as a sample from K1"
    assert [line for line, _ in told] == [2]
    assert told[0].why.startswith(why)
    struck = {"struck": {"at": "2026-11-25T22:40:00Z", "who": "Ben", "reason": "x"}}
    told = desk.refused(a_line("inspection", 1, "K1", clarity="clear"), fill | struck)
    assert told == [
        Mistake(2, "sample no. 3 (K1), which is there already, could then not be: the journal would no longer say what"
        " K1 held")
    ]  # fmt: skip
    told = desk.refused(json.loads(desk.lines()[0]) | struck)
    assert (
        "first filling no. 2 (K1), which is there already, could then not be: no entry would say what A is"
        in told[0].why
    )
    # All of it struck, or the amount told right, can be.
    sampled = json.loads(desk.lines()[2])
    assert len(desk.take(*(json.loads(line) | struck for line in desk.lines()), rehearse=True).strikes) == 3
    assert desk.take(late | {"body": {"volume_l": 0.4}}, sampled, rehearse=True).mistakes == []


def test_a_wrong_number_is_told_once_and_not_again_for_all_that_follows(desk: Desk) -> None:
    lines = [a_line("racking", 5, sources=[{"vessel": "K1", "volume_l": 17.0}], targets=[{"vessel": "K3"}])]
    lines += [a_line("sample", 6 + number, "K3", volume_l=1.0) for number in range(17)]
    assert [line for line, _ in desk.refused(*lines)] == [1]


def test_strikes_of_a_blend_and_the_vessels_that_are_known_empty_follow(desk: Desk) -> None:
    vessel_use = VesselUseCache(desk.store)
    desk.take({"id": 9, **a_line("inspection", 5, "K1", clarity="clear")})
    assert vessel_use.at(desk.now + HOUR).empty == frozenset()
    desk.take({"id": 5, **a_line("vessel-status", 6, "C1", status="emptied")})
    assert vessel_use.at(desk.now + HOUR).empty == {"C1"}


def test_snapshots_follow(desk: Desk) -> None:
    at_ms = entries(desk.store)[1].at_ms
    samples = []
    for number in range(SNAPSHOT_EVERY + 9):
        line = a_line("sample", 1, "K1", volume_l=0.01)
        samples.append(line | {"at": iso_utc(at_ms + MINUTE + number)})
    desk.take(*samples)
    assert desk.store.connection.execute("SELECT count(*) FROM contents_snapshot").fetchone() == (1,)
    desk.take(a_line("sample", 0, "K1", volume_l=1.0))
    with desk.store.read() as connection:
        afresh = load_ledger(connection, equipment_of(connection))
    for moment in (at_ms, at_ms + 90_000, desk.now):
        assert contents(desk.store, moment) == afresh.at(moment)
