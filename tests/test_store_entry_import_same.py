"""Any journal that was taken out comes in again the same, and a damaged line is named by its number."""

from __future__ import annotations

import io
import json
import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from a_desk import HOUR
from a_store import NOW, new_store
from hypothesis import given
from hypothesis import strategies as st
from importing_desk import Desk, a_line, kept
from journal_acts import ACTS
from journal_entries import journal_cellar

from ingest.errors import EntryRefused
from ingest.exchange.entry_lines import read_entry_lines
from ingest.journal.entry import Draft, Strike
from ingest.journal.merging import JournalMerge
from ingest.store.journal.amending import amend_entry
from ingest.store.journal.entries import entries
from ingest.store.journal.entry_import import import_entries
from ingest.store.journal.stored_ledger import contents

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
