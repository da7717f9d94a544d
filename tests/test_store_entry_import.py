"""Entries brought in: the same journal again, nothing twice, all or nothing, and every mistake at its line."""

from __future__ import annotations

import io
import json
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import a_desk
import pytest
from a_desk import HOUR, MINUTE
from a_store import NOW, declared, new_store
from hypothesis import given
from hypothesis import strategies as st
from journal_acts import ACTS
from journal_entries import journal_cellar

from ingest.cellar import Cellar
from ingest.errors import EntryRefused
from ingest.exchange.entry_lines import entry_line, read_entry_lines
from ingest.journal.entry import Draft, Strike
from ingest.journal.merging import JournalMerge, Mistake
from ingest.store import Store
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.amending import amend_entry
from ingest.store.journal.entries import entries, strike
from ingest.store.journal.entry_import import import_entries
from ingest.store.journal.hand_results import hand_results
from ingest.store.journal.renames import called_as_now
from ingest.store.journal.stored_ledger import SNAPSHOT_EVERY, contents, equipment_of, load_ledger
from ingest.store.journal.vessel_use import VesselUseCache
from ingest.store.readings.series import declare
from ingest.times import iso_utc


class Desk(a_desk.Desk):
    """The same in a store of its own, with a probe; he also brings lines in."""

    def __init__(self, store: Store, cellar: Cellar) -> None:
        super().__init__(store, cellar)
        keep_cellar_file(store, cellar.text, NOW - HOUR)
        declare(store, [declared(unit="kPa", gain=1.0)], NOW - HOUR)

    def strike(self, id: int, *, with_later: bool = False) -> None:
        self.now += MINUTE
        strike(self.store, id, "Ben", f"not no. {id}", self.now, with_later=with_later)

    def lines(self, **asked: Any) -> list[str]:
        return [entry_line(entry) for entry in called_as_now(self.store, entries(self.store, **asked))]

    def take(self, *lines: str | dict[str, Any], new_numbers: bool = False, rehearse: bool = False) -> JournalMerge:
        text = "\n".join(line.rstrip("\n") if isinstance(line, str) else json.dumps(line) for line in lines)
        read = read_entry_lines(io.BytesIO(text.encode()), self.cellar.site.zone, self.now)
        assert read.mistakes == []
        return import_entries(
            self.store,
            read.entries,
            self.cellar,
            self.now,
            new_numbers=new_numbers,
            rehearse=rehearse,
            despite_warnings=True,
        )

    def refused(self, *lines: str | dict[str, Any], new_numbers: bool = False) -> list[Mistake]:
        """Why lines are not taken; that nothing of them was."""
        before = kept(self.store)
        taken = self.take(*lines, new_numbers=new_numbers)
        assert taken.mistakes
        assert kept(self.store) == before
        return list(taken.mistakes)


def kept(store: Store) -> dict[str, list[Any]]:
    """All that a journal leaves in the store."""
    return {
        query: store.connection.execute(query).fetchall()
        for query in (
            "SELECT id, kind, at_ms, written_ms, who, place, lot, json_remove(body, '$.warnings'), in_place_of"
            " FROM entry ORDER BY id",
            "SELECT * FROM entry_place ORDER BY place, entry",
            "SELECT entry, at_ms, who, reason, together_with FROM strike ORDER BY entry",
            "SELECT * FROM result ORDER BY entry, quantity",
            "SELECT series, from_ms, kind, gain, offset, unit, because, written_ms FROM scale ORDER BY id",
        )
    }


NewDesk = Callable[[], Desk]


@pytest.fixture
def new_desk(tmp_path: Path) -> Iterator[NewDesk]:
    """Makes empty journals, each in a store of its own."""
    stores: list[Store] = []

    def make() -> Desk:
        folder = tmp_path / str(len(stores))
        folder.mkdir()
        stores.append(new_store(folder))
        return Desk(stores[-1], journal_cellar())

    yield make
    for store in stores:
        store.close()


@pytest.fixture
def desk(new_desk: NewDesk) -> Desk:
    """The lot A, 16 L of it in K1."""
    desk = new_desk()
    desk.write("lot", lot="A", name="Malvasia", style="white")
    desk.write("first-filling", "K1", "A", volume_l=16.0)
    desk.now += 3 * HOUR
    return desk


def a_line(kind: str, at: int, place: str | None = None, lot: str | None = None, **said: Any) -> dict[str, Any]:
    """A line as somebody writes it by hand; at: minutes after the fill."""
    found: dict[str, Any] = {"kind": kind, "at": iso_utc(NOW + 2 * HOUR + at * MINUTE), "who": "Eva", "body": said}
    return found | ({} if place is None else {"place": place}) | ({} if lot is None else {"lot": lot})


# ---- the same again ------------------------------------------------------------------------------------------------

_ZERO = {"probe": "k1-pressure", "points": [{"truth": 0.0, "shown": 0.7}], "unit": "kPa"}
_SPAN = {"probe": "k1-pressure", "points": [{"truth": 50.0, "shown": 49.1}], "unit": "kPa"}
_others = st.sampled_from(
    [
        ("titration", "K1", None, {"quantity": "free", "method": "elsewhere", "so2_mg_l": 30.0, "u_so2_mg_l": 2.0}),
        ("titration", None, "B", {"quantity": "total", "method": "elsewhere", "so2_mg_l": 90.0}),
        ("addition", "C1", None, {"form": "metabisulfite", "mass_g": 1.2, "so2_g": 0.69}),
        ("lot", None, "B", {"name": "B, later", "style": "white", "alcohol_percent_vol": 12.5}),
        ("inspection", "K3", None, {"clarity": "hazy"}),
        ("calibration", "K1", None, _ZERO),
        ("calibration", None, None, _SPAN),
        ("racking", None, None, {"sources": [{"vessel": "K1"}], "targets": [{"vessel": "K3"}], "begun": 1}),
    ]
)  # fmt: skip
_amend_one = st.tuples(st.integers(0, 20), st.just("amend"))
_acts = st.lists(ACTS | st.tuples(st.integers(0, 20), _others) | _amend_one, max_size=14)


# When the first of them happens.
BASE = NOW - 30 * 24 * HOUR


def _unwarned(line: str) -> dict[str, Any]:
    """A line without what an import warns of, which a desk writes without asking."""
    entry: dict[str, Any] = json.loads(line)
    return entry | {"body": {key: value for key, value in entry["body"].items() if key != "warnings"}}


def _amend(desk: Desk, number: int) -> None:
    """Put one right that holds; every kind has a remark."""
    holding = [entry for entry in entries(desk.store, struck=False) if entry.kind != "calibration"]
    if not holding:
        return
    old = holding[number % len(holding)]
    body = old.body.model_copy(update={"remark": f"no. {old.id} put right"})
    desk.now += HOUR
    draft = Draft(old.kind, old.at_ms, old.who, body, old.place, old.lot)
    with desk.store.write() as connection:
        amend_entry(connection, old.id, draft, desk.cellar, Strike(desk.now, "Ben", ""))


def _act_out(desk: Desk, acts: list[tuple[int, Any]]) -> None:
    desk.write("lot", lot="A", at=BASE, name="A", style="white")
    desk.write("lot", lot="B", at=BASE + 1, name="B", style="red")
    for number, act in acts:
        try:
            if act == "amend":
                _amend(desk, number)
            elif isinstance(act, bool):
                known = entries(desk.store)
                desk.strike(known[number % len(known)].id, with_later=act)
            else:
                kind, place, lot, said = act
                desk.write(kind, place, lot, at=BASE + number, **said)
        except EntryRefused:
            pass


@given(_acts, st.randoms(use_true_random=False))
def test_any_journal_taken_out_and_in_again_is_the_same(acts: list[tuple[int, Any]], random: Any) -> None:
    with ExitStack() as stack:
        old, new, other = (new_store(Path(stack.enter_context(tempfile.TemporaryDirectory()))) for _ in range(3))
        for store in (old, new, other):
            stack.enter_context(store)
        desk, again = Desk(old, journal_cellar()), Desk(new, journal_cellar())
        _act_out(desk, acts)
        lines = desk.lines()
        assert desk.take(*lines) == JournalMerge(there=len(lines))
        assert desk.take(*lines, new_numbers=True) == JournalMerge(there=len(lines))
        again.now = desk.now
        shuffled = list(lines)
        random.shuffle(shuffled)
        assert again.take(*shuffled, rehearse=True).mistakes == []
        assert entries(new) == []
        taken = again.take(*shuffled)
        assert (taken.there, taken.mistakes) == (0, [])
        assert kept(new) == kept(old)
        assert [_unwarned(line) for line in again.lines()] == [_unwarned(line) for line in lines]
        for at_ms in (BASE, BASE + 5, BASE + 13, BASE + 20, desk.now):
            assert contents(new, at_ms) == contents(old, at_ms)
        # Where the numbers are taken by others, the same with numbers of its own.
        elsewhere = Desk(other, journal_cellar())
        elsewhere.now = desk.now
        elsewhere.take(a_line("inspection", 0, "K1", clarity="clear"), a_line("inspection", 1, "K1", clarity="clear"))
        assert elsewhere.take(*shuffled, new_numbers=True).mistakes == []
        assert contents(other, desk.now) == contents(old, desk.now)
        before = kept(other)
        assert elsewhere.take(*lines, new_numbers=True).there == len(lines)
        assert kept(other) == before


# Where each damaged line of a file meets the same journal, so that no change of what it says can go unseen.
@given(
    st.integers(0, 10**6), st.integers(0, 10**6), st.sampled_from(["cut", "drop", "twice", "other"]), st.characters()
)
def test_a_damaged_line_is_told_by_its_number(line: int, place: int, how: str, character: str) -> None:
    desk, lines = _damaged()
    number = line % len(lines)
    whole = lines[number].rstrip("\n")
    place %= len(whole)
    damaged = {
        "cut": whole[:place],
        "drop": whole[:place] + whole[place + 1 :],
        "twice": whole[:place] + whole[place] + whole[place:],
        "other": whole[:place] + character + whole[place + 1 :],
    }[how]
    text = "".join([*lines[:number], damaged + "\n", *lines[number + 1 :]])
    read = read_entry_lines(io.BytesIO(text.encode("utf-8", "surrogatepass")), desk.cellar.site.zone, desk.now)
    taken = import_entries(desk.store, read.entries, desk.cellar, desk.now, rehearse=True)
    told = {one.line for one in (*read.mistakes, *taken.mistakes)}
    further = range(number + 2, number + 2 + damaged.count("\n"))  # where the damage is a new line
    assert told <= {number + 1, *further}
    if not told and damaged:
        now = json.loads(damaged)
        then = json.loads(whole)
        ours = {key: now.get(key) for key in then if key not in ("struck", "written", "id")}
        assert now.get("id") != then["id"] or ours == {key: then[key] for key in ours} or _same_time(ours, then)


def _same_time(ours: dict[str, Any], then: dict[str, Any]) -> bool:
    # "T" for a space, or a digit of a fraction less, is the same moment.
    return ours["at"] != then["at"] and {**ours, "at": then["at"]} == {key: then[key] for key in ours}


_KEPT: list[tuple[Desk, list[str]]] = []


def _damaged() -> tuple[Desk, list[str]]:
    """A journal that no test changes."""
    if not _KEPT:
        folder = tempfile.TemporaryDirectory()
        desk = Desk(new_store(Path(folder.name)), journal_cellar())
        desk.__dict__["folder"] = folder
        desk.write("lot", lot="A", name="Žlahtna", style="white", vintage=2025)
        desk.write("first-filling", "K1", "A", volume_l=16.0)
        desk.write("racking", sources=[{"vessel": "K1", "volume_l": 4.0}], targets=[{"vessel": "C1"}])
        desk.write("sample", "C1", volume_l=0.25)
        desk.write("titration", "K1", quantity="free", method="elsewhere", so2_mg_l=31.0, remark="label")
        desk.strike(3, with_later=True)
        _KEPT.append((desk, desk.lines()))
    return _KEPT[0]


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
