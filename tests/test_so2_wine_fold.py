"""What the journal's entries say of each wine's SO2, whatever was done with the vessels."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_acts import VESSELS, said
from journal_entries import EQUIPMENT, Pages, an_entry

from alerts.so2.histories import histories_of
from alerts.so2.wine_facts import WineFacts
from alerts.so2.wine_fold import WineFold
from alerts.wine.so2_estimate import So2Asked, estimate_all
from alerts.wine.so2_history import LOSS_BY_KIND, FreeTitrated, So2Added, WineMixedIn, WineRacked
from ingest.errors import EntryRefused
from ingest.journal.entry import Entry
from ingest.journal.ledger import Ledger

DAY_MS = 86_400_000
Said = tuple[str, str | None, str | None, dict[str, Any]]


def free(place: str, mg_l: float, *, lot: str | None = None, **more: Any) -> Said:
    return (
        "titration",
        None if lot else place,
        lot,
        {"quantity": "free", "method": "elsewhere", "so2_mg_l": mg_l, **more},
    )


def dose(place: str, so2_g: float) -> Said:
    return (
        "addition",
        place,
        None,
        {"form": "metabisulfite", "salt": "potassium", "mass_g": so2_g / 0.576, "so2_g": so2_g},
    )


def fill(place: str, volume_l: float | None = 10.0, lot: str = "A", **more: Any) -> Said:
    return "first-filling", place, lot, {"volume_l": volume_l, **more}


def rack(source: str, target: str, volume_l: float | None = None, **more: Any) -> Said:
    targets = [{"vessel": target, "blend": more.pop("blend", False)}]
    return "racking", None, None, {"sources": [{"vessel": source, "volume_l": volume_l}], "targets": targets, **more}


def folded(*told: Said) -> WineFold:
    """Fold what was told, a day apart."""
    return WineFold(Ledger([_entry(number, each) for number, each in enumerate(told, 1)], EQUIPMENT))


def _entry(number: int, told: Said) -> Entry:
    kind, place, lot, body = told
    return an_entry(number, kind, number * DAY_MS, place, lot, **body)


def effects(wine: WineFacts) -> list[object]:
    return [fact.effect for fact in wine.facts]


def test_an_addition_counts_by_the_litre_of_that_time() -> None:
    fold = folded(fill("K1", 10.0), dose("K1", 0.1), ("sample", "K1", None, {"volume_l": 2.0}), dose("K1", 0.1))
    first, second = effects(fold.wines["K1"])
    assert isinstance(first, So2Added)
    assert isinstance(second, So2Added)
    assert [first.so2_mg_l, second.so2_mg_l] == pytest.approx([10.0, 12.5])


def test_an_unknown_volume_is_taken_as_nearly_full_and_said() -> None:
    (fact,) = folded(fill("K1", None), dose("K1", 0.1)).wines["K1"].facts
    assert isinstance(fact.effect, So2Added)
    assert fact.effect.so2_mg_l == pytest.approx(100.0 / (0.93 * 19.0))
    assert fact.effect.u_share > 0.05
    assert "how much wine K1 holds is not known" in fact.remark


def test_a_racked_wine_has_the_loss_of_the_new_vessel() -> None:
    fold = folded(fill("C1"), free("C1", 30.0), rack("C1", "K1", air="under gas"))
    wine = fold.wines["K1"]
    titrated, racked = effects(wine)
    assert isinstance(titrated, FreeTitrated)
    assert isinstance(racked, WineRacked)
    assert (wine.loss, racked.loss, racked.oxygen.mg_l) == (LOSS_BY_KIND["carboy"], LOSS_BY_KIND["keg"], 1.0)
    assert [stay.vessel for stay in wine.stays] == ["C1", "K1"]
    assert "C1" not in fold.wines


def test_the_larger_part_of_a_blend_goes_on() -> None:
    small_into_large = folded(
        fill("C1", 4.0), free("C1", 10.0), fill("K3", 12.0, "B"), free("K3", 40.0), rack("C1", "K3", blend=True)
    ).wines["K3"]
    titrated, mixed = effects(small_into_large)
    assert isinstance(titrated, FreeTitrated)
    assert isinstance(mixed, WineMixedIn)
    assert [titrated.free_mg_l, mixed.share] == pytest.approx([40.0, 0.25])
    large_into_small = folded(
        fill("C1", 4.0), free("C1", 10.0), fill("K3", 12.0, "B"), free("K3", 40.0), rack("K3", "K1"),
        rack("K1", "C1", 6.0, blend=True),
    ).wines["C1"]  # fmt: skip
    titrated, first, second, mixed = effects(large_into_small)
    assert isinstance(titrated, FreeTitrated)
    assert isinstance(first, WineRacked)
    assert isinstance(second, WineRacked)
    assert isinstance(mixed, WineMixedIn)
    assert [titrated.free_mg_l, mixed.share] == pytest.approx([40.0, 0.4])


def test_only_a_larger_share_has_an_estimate_of_its_own() -> None:
    def shares(volume_l: float) -> list[bool]:
        topping: Said = ("topping", "K1", None, {"source": "C1", "volume_l": volume_l})
        wine = folded(fill("K1"), fill("C1", 5.0, "B"), free("C1", 20.0), topping).wines["K1"]
        return [fact.other is not None for fact in wine.facts]

    assert (shares(0.1), shares(2.0)) == ([False], [True])


def test_a_lots_titration_counts_where_it_lies_and_before_its_filling() -> None:
    (before,) = effects(folded(free("K1", 33.0, lot="A"), fill("K1")).wines["K1"])
    assert isinstance(before, FreeTitrated)
    assert before.free_mg_l == 33.0
    fold = folded(fill("K1", 5.0), fill("C1", 5.0), fill("K3", 5.0, "B"), free("K1", 33.0, lot="A"))
    assert [vessel for vessel, wine in fold.wines.items() if wine.facts] == ["K1", "C1"]


def test_an_emptied_vessel_has_no_wine_and_a_new_filling_a_new_history() -> None:
    told: list[Said] = [fill("K1"), free("K1", 30.0), ("vessel-status", "K1", None, {"status": "emptied"})]
    assert "K1" not in folded(*told).wines
    assert folded(*told, fill("K1", lot="B")).wines["K1"].facts == ()


_FINDS = st.builds(free, st.sampled_from(VESSELS), st.sampled_from([0.0, 5.0, 30.0, 900.0]))
_ADDS = st.builds(dose, st.sampled_from(VESSELS), st.sampled_from([0.01, 0.3, 50.0]))


@given(st.lists(st.tuples(said() | _FINDS | _ADDS, st.integers(0, 60)), min_size=1, max_size=14))
@settings(max_examples=60)
def test_any_journal_makes_histories_that_can_be_estimated(told: list[tuple[Said, int]]) -> None:
    pages = Pages()
    for (kind, place, lot, body), day in told:
        with suppress(EntryRefused):
            pages.write(kind, place, lot, at=day * DAY_MS, **body)
    fold = WineFold(pages.ledger)
    assert not {vessel for vessel in fold.wines if fold.state(vessel).empty}
    histories = histories_of(list(fold.wines.values()), 61 * DAY_MS, lambda _, __: ())
    for found in estimate_all([So2Asked(history, 61 * DAY_MS) for history in histories]) if histories else ():
        assert 0.0 <= found.free_low_80_mg_l <= found.free_mg_l <= found.free_high_80_mg_l
