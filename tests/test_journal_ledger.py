"""What vessels hold: the worked blend, unknown volumes, the past, a lot's path, renamed vessels."""

from __future__ import annotations

from typing import Any

import pytest
from journal_entries import EQUIPMENT, Pages, an_entry, lot_path, share_of

from ingest.journal.contents import Contents, LotShare
from ingest.journal.equipment import CellarOfTime, Equipment, VesselOfTime
from ingest.journal.ledger import Ledger
from ingest.journal.lot_locations import LotLocation, joined_locations
from ingest.journal.wine import So2Value

HOUR = 3_600_000

# Where a float stands in a record that is compared as a whole.
near: Any = pytest.approx


@pytest.fixture
def pages() -> Pages:
    """Two lots: 16 L of A in the keg K1 and 8.5 L of B in the carboy C1, both titrated."""
    pages = Pages()
    pages.write("lot", lot="A", name="Malvasia", style="white", alcohol_percent_vol=12.0, sugar_g_l=2.0)
    pages.write("lot", lot="B", name="Rebula", style="white", alcohol_percent_vol=13.0, sugar_g_l=1.0)
    pages.write("first-filling", "K1", "A", volume_l=16.0, u_volume_l=0.1)
    pages.write("first-filling", "C1", "B", volume_l=8.5)
    for vessel, free, total in (("K1", 30.0, 90.0), ("C1", 20.0, 120.0)):
        pages.write("titration", vessel, quantity="free", method="elsewhere", so2_mg_l=free, u_so2_mg_l=2.0)
        pages.write("titration", vessel, quantity="total", method="elsewhere", so2_mg_l=total, u_so2_mg_l=5.0)
    return pages


def _blend(pages: Pages) -> Contents:
    pages.write(
        "racking",
        sources=[{"vessel": "K1", "volume_l": 16.0}, {"vessel": "C1", "volume_l": 8.5}],
        targets=[{"vessel": "K3"}],
        lees_l=0.5,
    )
    return pages.now_in("K3")


def test_a_keg_and_a_carboy_are_blended_into_a_larger_keg(pages: Pages) -> None:
    # By hand: 16.0 + 8.5 - 0.5 = 24.0 L in 25 L; lees come off both in proportion, so shares are 16 : 8.5.
    mixed = _blend(pages)
    share = 16.0 / 24.5
    assert mixed.volume_l == pytest.approx(24.0)
    assert mixed.headspace_l == pytest.approx(1.0)
    assert mixed.lots == (LotShare("A", near(share)), LotShare("B", near(1 - share)))
    assert mixed.alcohol_percent_vol == pytest.approx(12.0 * share + 13.0 * (1 - share))
    assert mixed.sugar_g_l == pytest.approx(2.0 * share + 1.0 * (1 - share))
    assert mixed.style == "white"
    assert mixed.since_ms == mixed.last_racking_ms == pages.now
    assert mixed.free_so2 is not None
    assert mixed.total_so2 is not None
    assert mixed.free_so2.mg_l == pytest.approx(30.0 * share + 20.0 * (1 - share))
    assert mixed.total_so2.mg_l == pytest.approx(90.0 * share + 120.0 * (1 - share))
    assert mixed.free_so2.u_mg_l == pytest.approx(2.0 * (share**2 + (1 - share) ** 2) ** 0.5)
    assert mixed.free_so2.mixed
    # Mass of free SO2: what was drawn less what the lees took along.
    assert mixed.free_so2.mg_l * 24.0 == pytest.approx((16.0 * 30.0 + 8.5 * 20.0) * 24.0 / 24.5)
    for vessel in ("K1", "C1"):
        old = pages.now_in(vessel)
        assert old.empty
        assert old.headspace_l == old.capacity_l
        assert old.lots == ()
        assert old.since_ms == pages.now
    assert pages.ledger.empty_at(pages.now) == {"K1", "C1"}


def test_lees_told_for_each_vessel_come_off_that_vessel(pages: Pages) -> None:
    pages.write(
        "racking",
        sources=[{"vessel": "K1", "lees_l": 1.0}, {"vessel": "C1", "lees_l": 0.5}],
        targets=[{"vessel": "K3"}],
    )
    mixed = pages.now_in("K3")
    assert mixed.volume_l == pytest.approx(23.0)
    assert share_of(mixed, "A") == pytest.approx(15.0 / 23.0)


def test_the_past_stays_as_it_was(pages: Pages) -> None:
    before = pages.now
    _blend(pages)
    then = pages.ledger.at(before)
    assert then["K1"].volume_l == 16.0
    assert then["K1"].u_volume_l == 0.1
    assert then["K1"].free_so2 == So2Value(30.0, 2.0, 5 * HOUR)
    assert then["K3"] == Contents("K3", False, capacity_l=25.0)
    assert pages.ledger.at(0)["K1"].known is False


def test_a_vessel_that_no_entry_names_counts_as_in_use() -> None:
    (only,) = {contents.known for contents in Ledger([], EQUIPMENT).at(5).values()}
    assert only is False
    assert not Ledger([], EQUIPMENT).at(5)["K1"].empty
    assert set(Ledger([], EQUIPMENT).at(5)) == {"K1", "C1", "K3"}


def test_a_part_is_split_off_and_the_rest_stays(pages: Pages) -> None:
    pages.write("racking", sources=[{"vessel": "K1", "volume_l": 6.0}], targets=[{"vessel": "K3"}])
    assert pages.now_in("K1").volume_l == pytest.approx(10.0)
    assert pages.now_in("K3").volume_l == pytest.approx(6.0)
    assert pages.now_in("K1").since_ms == 3 * HOUR
    assert pages.now_in("K3").free_so2 == So2Value(30.0, 2.0, 5 * HOUR)
    assert pages.now_in("K1").u_volume_l == pytest.approx((0.1**2 + 0.06**2) ** 0.5)


def test_one_vessel_is_racked_into_two_and_the_second_takes_the_rest(pages: Pages) -> None:
    pages.write("vessel-status", "C1", status="emptied")
    pages.write(
        "racking",
        sources=[{"vessel": "K1"}],
        targets=[{"vessel": "C1", "volume_l": 9.0}, {"vessel": "K3"}],
        lees_l=0.4,
    )
    assert pages.now_in("C1").volume_l == pytest.approx(9.0)
    assert pages.now_in("K3").volume_l == pytest.approx(6.6)
    assert pages.now_in("K1").empty


def test_what_nobody_measured_stays_unknown_and_makes_no_numbers() -> None:
    pages = Pages()
    pages.write("lot", lot="A", name="A", style="red", alcohol_percent_vol=13.0)
    pages.write("lot", lot="B", name="B", style="red", alcohol_percent_vol=12.0)
    pages.write("first-filling", "K1", "A")
    pages.write("first-filling", "C1", "B", volume_l=9.0)
    unknown = pages.now_in("K1")
    assert (unknown.known, unknown.volume_l, unknown.headspace_l) == (True, None, None)
    assert unknown.lots == (LotShare("A", 1.0),)
    assert unknown.alcohol_percent_vol == 13.0
    pages.write("racking", sources=[{"vessel": "K1"}, {"vessel": "C1"}], targets=[{"vessel": "K3"}])
    mixed = pages.now_in("K3")
    assert mixed.volume_l is None
    assert mixed.lots == (LotShare("A", None), LotShare("B", None))
    assert mixed.alcohol_percent_vol is None
    assert mixed.style == "red"
    assert pages.now_in("K1").empty


def test_a_volume_that_nobody_told_follows_from_the_others() -> None:
    pages = Pages()
    pages.write("lot", lot="A", name="A", style="red")
    pages.write("first-filling", "K1", "A")
    pages.write(
        "racking", sources=[{"vessel": "K1", "emptied": False}], targets=[{"vessel": "K3", "volume_l": 7.0}], lees_l=0.5
    )
    assert pages.now_in("K3").volume_l == 7.0
    assert pages.now_in("K1").volume_l is None
    pages.write("measurement", "K1", quantity="volume", value=4.0)
    assert pages.now_in("K1").volume_l == 4.0
    assert pages.now_in("K1").lots == (LotShare("A", 1.0),)


def test_wine_from_a_vessel_of_unknown_contents_is_of_no_lot(pages: Pages) -> None:
    pages.write("racking", sources=[{"vessel": "K3", "volume_l": 1.0}], targets=[{"vessel": "C1", "blend": True}])
    assert share_of(pages.now_in("C1"), "B") == pytest.approx(8.5 / 9.5)
    assert pages.now_in("C1").lots[-1] == LotShare(None, near(1.0 / 9.5))
    assert pages.now_in("C1").alcohol_percent_vol is None
    assert pages.now_in("C1").style == "white"
    assert pages.now_in("K3").known is False


def test_topping_with_bought_bottles_counts_their_alcohol_and_so2(pages: Pages) -> None:
    bottles = {"number": 2, "size_l": 0.75, "alcohol_percent_vol": 11.0, "free_so2_mg_l": 10.0}
    pages.write("topping", "K1", bought=bottles)
    topped = pages.now_in("K1")
    assert topped.volume_l == pytest.approx(17.5)
    assert topped.lots == (LotShare("A", near(16 / 17.5)), LotShare(None, near(1.5 / 17.5), is_bought=True))
    assert topped.alcohol_percent_vol == pytest.approx((16 * 12 + 1.5 * 11) / 17.5)
    assert topped.free_so2 is not None
    assert topped.free_so2.mg_l == pytest.approx((16 * 30 + 1.5 * 10) / 17.5)
    assert topped.total_so2 is None
    assert topped.since_ms == 3 * HOUR
    assert topped.last_topping_ms == pages.now


def test_topping_from_a_vessel_takes_it_from_there(pages: Pages) -> None:
    pages.write("topping", "C1", source="K1", volume_l=1.0)
    assert pages.now_in("K1").volume_l == pytest.approx(15.0)
    assert pages.now_in("C1").volume_l == pytest.approx(9.5)
    assert share_of(pages.now_in("C1"), "A") == pytest.approx(1.0 / 9.5)


def test_samples_bottling_and_what_remains(pages: Pages) -> None:
    pages.write("sample", "K1", volume_l=0.1)
    pages.write("sample", "K1")
    assert pages.now_in("K1").volume_l == pytest.approx(15.9)
    pages.write("bottling", "K1", bottles=[{"number": 12, "size_l": 0.75}], waste_l=0.4)
    assert pages.now_in("K1").volume_l == pytest.approx(6.5)
    pages.write("bottling", "K1", bottles=[{"number": 4, "size_l": 0.75}], remainder_l=3.0)
    assert pages.now_in("K1").volume_l == 3.0
    pages.write("bottling", "K1", bottles=[{"number": 3, "size_l": 0.75}], remainder_l=0.0)
    assert pages.now_in("K1").empty


def test_a_dose_raises_total_by_its_mass_and_leaves_free_open(pages: Pages) -> None:
    pages.write("addition", "K1", form="metabisulfite", salt="potassium", mass_g=1.0, so2_g=0.576)
    dosed = pages.now_in("K1")
    assert dosed.free_so2 is None
    assert dosed.total_so2 is not None
    assert dosed.total_so2.mg_l == pytest.approx(90.0 + 576 / 16.0)
    pages.write("addition", "K1", form="metabisulfite", salt="potassium", mass_g=1.0)
    assert pages.now_in("K1").total_so2 is None
    pages.write("addition", "C1", form="other", name="bentonite", mass_g=5.0)
    assert pages.now_in("C1").free_so2 is not None


def test_a_measured_alcohol_counts_before_the_lots_word(pages: Pages) -> None:
    pages.write("measurement", "K1", quantity="alcohol", value=12.3)
    assert pages.now_in("K1").alcohol_percent_vol == 12.3
    _blend(pages)
    assert pages.now_in("K3").alcohol_percent_vol == pytest.approx((16.0 * 12.0 + 8.5 * 13.0) / 24.5)


def test_a_titration_below_its_blank_leaves_no_number(pages: Pages) -> None:
    pages.write(
        "titration",
        "K1",
        quantity="free",
        method="iodometric",
        flasks=[{"titre_ml": 0.1}],
        blank_ml=0.2,
        sample_ml=25.0,
    )
    assert pages.now_in("K1").free_so2 is None


def test_out_of_use_and_back(pages: Pages) -> None:
    pages.write("vessel-status", "K3", status="out of use")
    assert (pages.now_in("K3").empty, pages.now_in("K3").out_of_use) == (True, True)
    pages.write("vessel-status", "K3", status="in use")
    assert (pages.now_in("K3").empty, pages.now_in("K3").out_of_use) == (True, False)


def test_a_racking_that_only_began_moves_nothing(pages: Pages) -> None:
    pages.write("racking", sources=[{"vessel": "K1"}], targets=[{"vessel": "K3"}], stage="begun")
    assert pages.now_in("K1").volume_l == 16.0
    assert not pages.now_in("K3").known


def test_a_lot_is_followed_from_vessel_to_vessel(pages: Pages) -> None:
    pages.write("racking", sources=[{"vessel": "K1"}, {"vessel": "C1"}], targets=[{"vessel": "K3"}])
    racked, by = pages.now, pages.number
    pages.write("topping", "K3", "A", volume_l=0.5)
    path = lot_path(pages.entries, EQUIPMENT, "A")
    assert path == [
        LotLocation("K1", 3 * HOUR, racked, 1.0, 3, by),
        LotLocation("K3", racked, pages.now, near(16.0 / 24.5), by, by + 1),
        LotLocation("K3", pages.now, None, near(16.5 / 25.0), by + 1, None),
    ]
    assert [[stay.vessel for stay in one] for one in joined_locations(path)] == [["K1"], ["K3", "K3"]]
    assert lot_path(pages.entries, EQUIPMENT, "C") == []


def test_the_later_word_on_a_lot_holds_from_then_on(pages: Pages) -> None:
    pages.write("lot", lot="A", name="Malvasia", style="sweet", alcohol_percent_vol=11.0)
    assert pages.now_in("K1").style == "sweet"
    assert pages.ledger.contents("K1", pages.now - 1).style == "white"
    # A wine has a style before anyone writes it down.
    early = [
        an_entry(1, "first-filling", 10, "K1", "A", volume_l=5.0),
        an_entry(2, "lot", 99, lot="A", name="A", style="red"),
    ]
    assert Ledger(early, EQUIPMENT).contents("K1", 20).style == "red"


def test_capacity_and_name_are_those_of_the_time() -> None:
    later = {"Keg1": VesselOfTime(18.0, "keg", was="K1"), "K2": VesselOfTime(12.0, "keg")}
    equipment = Equipment((CellarOfTime(100, {"K1": VesselOfTime(19.0, "keg")}), CellarOfTime(200, later)))
    entries = [
        an_entry(1, "first-filling", 50, "K1", "A", volume_l=17.0),
        an_entry(2, "racking", 300, sources=[{"vessel": "Keg1", "volume_l": 7.0}], targets=[{"vessel": "K2"}]),
    ]
    ledger = Ledger(entries, equipment)
    assert ledger.contents("Keg1", 250).headspace_l == pytest.approx(1.0)
    assert ledger.contents("Keg1", 300).volume_l == pytest.approx(10.0)
    assert set(ledger.at(300)) == {"Keg1", "K2"}
    assert equipment.capacity_l("K1", 50) == 19.0
    assert equipment.capacity_l("K2", 50) == 12.0
    assert equipment.capacity_l("K9", 50) is None
    assert equipment.names_ever("Keg1") == {"Keg1", "K1"}
    assert equipment.name_now("K1", written_ms=300) == "K1"


def test_two_entries_of_one_time_count_in_the_order_of_writing() -> None:
    first = an_entry(1, "first-filling", 10, "K1", "A", volume_l=5.0)
    second = an_entry(2, "sample", 10, "K1", volume_l=1.0)
    for order in ([first, second], [second, first]):
        assert Ledger(order, EQUIPMENT).at(10)["K1"].volume_l == pytest.approx(4.0)
