"""The mass balance: what cannot be is refused with its numbers, and no order of entries and strikes gets around it."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from journal_acts import ACTS, VESSELS
from journal_entries import EQUIPMENT, Pages

from ingest.errors import EntryRefused
from ingest.journal.kinds import ledger_step
from ingest.journal.ledger import Ledger
from ingest.journal.vessel_state import ROUNDING_L, UNKNOWN


@pytest.fixture
def pages() -> Pages:
    """A full keg of 19 L and a full carboy of 10 L."""
    pages = Pages()
    pages.write("lot", lot="A", name="A", style="white")
    pages.write("first-filling", "K1", "A", volume_l=19.0)
    pages.write("first-filling", "C1", "A", volume_l=10.0)
    return pages


def test_a_full_keg_and_a_full_carboy_do_not_go_into_a_smaller_keg(pages: Pages) -> None:
    racking: dict[str, Any] = {"sources": [{"vessel": "K1"}, {"vessel": "C1"}], "targets": [{"vessel": "K3"}]}
    assert "K3 would hold 28.5 L, and brimful it takes 25 L: 3.5 L too much" in pages.refused(
        "racking", **racking, lees_l=0.5
    )
    assert pages.now_in("K1").volume_l == 19.0
    assert pages.now_in("K3").known is False


def test_each_refusal_tells_the_numbers(pages: Pages) -> None:
    told = {
        "20 L racked from K1, which holds 19 L: 1 L too much": pages.refused(
            "racking", sources=[{"vessel": "K1", "volume_l": 20.0}], targets=[{"vessel": "K3"}]
        ),
        "18.8 L into K3, but 18.5 L came from K1 after 0.5 L of lees: 0.3 L too much": pages.refused(
            "racking", sources=[{"vessel": "K1"}], targets=[{"vessel": "K3", "volume_l": 18.8}], lees_l=0.5
        ),
        "20 L of lees are more than the 19 L drawn from K1": pages.refused(
            "racking", sources=[{"vessel": "K1"}], targets=[{"vessel": "K3"}], lees_l=20.0
        ),
        "C1 holds 10 L of A: say that it is a blend": pages.refused(
            "racking", sources=[{"vessel": "K1", "volume_l": 1.0}], targets=[{"vessel": "C1"}]
        ),
        "C1 would hold 11 L, and brimful it takes 10 L: 1 L too much": pages.refused(
            "racking", sources=[{"vessel": "K1", "volume_l": 1.0}], targets=[{"vessel": "C1", "blend": True}]
        ),
        "K1 holds 19 L of A: say that it is a blend": pages.refused("first-filling", "K1", "A", volume_l=1.0),
        "K3 would hold 26 L": pages.refused("first-filling", "K3", "A", volume_l=26.0),
        "C1 would hold 10.2 L": pages.refused("topping", "C1", "A", volume_l=0.2),
        "19.5 L taken for topping from K1, which holds 19 L": pages.refused(
            "topping", "K3", source="K1", volume_l=19.5
        ),
        "11 L drawn as a sample from C1, which holds 10 L": pages.refused("sample", "C1", volume_l=11.0),
        "10.5 L bottled, wasted or left over from C1, which holds 10 L": pages.refused(
            "bottling", "C1", bottles=[{"number": 12, "size_l": 0.75}], waste_l=1.0, remainder_l=0.5
        ),
        "K1 holds 19 L of A, so it cannot be cleaned": pages.refused("vessel-status", "K1", status="cleaned"),
        "C1 would hold 10.4 L": pages.refused("measurement", "C1", quantity="volume", value=10.4),
    }
    for wanted, found in told.items():
        assert wanted in found
    assert len(pages.entries) == 3


def test_nothing_comes_from_an_empty_vessel(pages: Pages) -> None:
    pages.write("vessel-status", "C1", status="emptied")
    for kind, said in (
        ("racking", {"sources": [{"vessel": "C1"}], "targets": [{"vessel": "K3"}]}),
        ("sample", {"volume_l": 0.1}),
        ("topping", {"volume_l": 0.1}),
        ("bottling", {"bottles": [{"number": 1, "size_l": 0.75}]}),
        ("titration", {"quantity": "free", "method": "elsewhere", "so2_mg_l": 30.0}),
        ("addition", {"form": "other", "name": "oak", "mass_g": 5.0}),
        ("measurement", {"quantity": "volume", "value": 3.0}),
    ):
        place, lot = (None if kind == "racking" else "C1"), ("A" if kind == "topping" else None)
        assert "C1 is empty" in pages.refused(kind, place, lot, **said)
    pages.write("first-filling", "C1", "A", volume_l=9.0)


@pytest.mark.parametrize("volume", [18.997, 19.0, 19.004])
def test_a_rounded_last_draught_leaves_an_empty_vessel_and_no_negative_one(pages: Pages, volume: float) -> None:
    pages.write("racking", sources=[{"vessel": "K1", "volume_l": volume}], targets=[{"vessel": "K3"}])
    assert pages.now_in("K1").volume_l == 0.0
    assert pages.now_in("K1").empty
    assert pages.now_in("K1").lots == ()


def test_a_strike_that_takes_the_ground_from_later_entries_names_them(pages: Pages) -> None:
    fill = pages.entries[1]
    racking = pages.write("racking", sources=[{"vessel": "K1"}], targets=[{"vessel": "K3"}])
    sample = pages.write("sample", "K3", volume_l=0.2)
    other = pages.write("sample", "C1", volume_l=0.2)
    with pytest.raises(EntryRefused, match=rf"racking no. {racking.id} \(K1, K3\) could then not be") as caught:
        pages.strike(fill)
    assert caught.value.later == (racking.id, sample.id)
    assert pages.strike(fill, with_later=True) == [fill.id, racking.id, sample.id]
    assert [entry.id for entry in pages.entries] == [1, 3, other.id]
    assert pages.now_in("K1").known is pages.now_in("K3").known is False


def test_a_strike_that_leaves_too_much_in_a_vessel_names_what_follows(pages: Pages) -> None:
    out = pages.write("sample", "C1", volume_l=5.0)
    back = pages.write("topping", "C1", source="K1", volume_l=4.0)
    with pytest.raises(EntryRefused, match="C1 would hold 14 L, and brimful it takes 10 L: 4 L too much") as caught:
        pages.strike(out)
    assert caught.value.later == (back.id,)
    pages.strike(back)
    pages.strike(out)
    assert pages.now_in("C1").volume_l == 10.0


def test_a_back_dated_entry_that_makes_later_ones_impossible_is_refused_with_their_names(pages: Pages) -> None:
    fill = pages.entries[1]
    sample = pages.write("sample", "K1", volume_l=18.5)
    with pytest.raises(EntryRefused, match=f"sample no. {sample.id}") as caught:
        pages.write("sample", "K1", at=fill.at_ms + 1, volume_l=1.0)
    assert caught.value.later == (sample.id,)
    pages.write("sample", "K1", at=fill.at_ms + 1, volume_l=0.4)
    assert pages.now_in("K1").volume_l == pytest.approx(0.1)
    with pytest.raises(EntryRefused, match=f"filling no. {fill.id} .* say that it is a blend"):
        pages.write("first-filling", "K1", "A", at=fill.at_ms - 1, volume_l=1.0)


@given(st.lists(ACTS, max_size=25))
def test_no_order_of_entries_strikes_and_back_dating_breaks_the_balance(acts: list[tuple[int, Any]]) -> None:
    pages = Pages()
    for vessel in VESSELS:
        pages.write("vessel-status", vessel, at=0, status="emptied")
    for number, act in acts:
        try:
            if isinstance(act, bool):
                if pages.entries:
                    pages.strike(pages.entries[number % len(pages.entries)], with_later=act)
            else:
                kind, place, lot, said = act
                pages.write(kind, place, lot, at=number, **said)
        except EntryRefused as refusal:
            assert str(refusal)
        _look(pages)


def _look(pages: Pages) -> None:
    """What must hold at any time, whatever was written: afresh as incrementally, and in every step."""
    afresh = Ledger(pages.entries, EQUIPMENT)
    for at_ms in range(0, 21, 5):
        assert pages.ledger.at(at_ms) == Ledger(pages.entries, EQUIPMENT).at(at_ms)
    state: dict[str, Any] = {}
    for entry in afresh.after((-1, -1)):
        made = ledger_step(entry, lambda vessel: state.get(vessel, UNKNOWN), EQUIPMENT)
        assert not made.objections
        before = sum(state.get(vessel, UNKNOWN).volume_l or 0.0 for vessel in made.changes)
        whole = all(state.get(vessel, UNKNOWN).volume_l is not None for vessel in made.changes)
        state.update(made.changes)
        after = [state[vessel] for vessel in made.changes]
        for vessel, held in made.changes.items():
            assert (
                held.volume_l is None or 0.0 <= held.volume_l <= (EQUIPMENT.capacity_l(vessel, 0) or 0.0) + ROUNDING_L
            )
            shares = [share for _, share in held.wine.parts if share is not None]
            assert len(shares) < len(held.wine.parts) or not shares or sum(shares) == pytest.approx(1.0)
        if entry.kind in ("racking", "sample", "bottling", "vessel-status") and whole:
            # Wine is moved and lost, but none comes from nowhere.
            assert sum(held.volume_l or 0.0 for held in after) <= before + 3 * ROUNDING_L
