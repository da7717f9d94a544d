"""What a review of a bottling says beside the wine's: fermenting again, carbon dioxide, bottles, gas, the work."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.blanket.details import BlanketShown
from alerts.errors import OutOfRange, ReviewRefused
from alerts.gas.gases import GASES
from alerts.gas.stock import GasStock, NewestNumber, RoomGas
from alerts.review import BottlingWish, RackingFacts, RackingVessel, RackingWish, Review, bottling_review, review_json
from alerts.review.bottles import expected_bottles
from alerts.review.dissolved_gas import dissolved_gas_section, saturated_g_l
from alerts.review.refermentation import bottle_pressure_kpa, refermentation_section
from alerts.review.section import ReviewSection
from alerts.review.vessel_facts import VesselFacts
from ingest.journal.contents import Contents

NOW = 1_795_856_400_000
DAY = 86_400_000
N2 = GasStock("N2", GASES["nitrogen"], 1400.0, 1300.0, "pressure", NOW)


def wine(style: str = "white", sugar_g_l: float | None = 1.0, **changes: Any) -> VesselFacts:
    contents = Contents(
        "K1",
        known=True,
        volume_l=18.0,
        u_volume_l=0.1,
        capacity_l=19.5,
        headspace_l=1.5,
        style=style,
        sugar_g_l=sugar_g_l,
    )
    usual = {"vessel": "K1", "kind": "keg", "at_ms": NOW, "zone": UTC, "contents": contents, "malolactic": "complete"}
    return VesselFacts(**{**usual, "gas_name": "nitrogen", "under_gas": True, **changes})


def source(**changes: Any) -> RackingVessel:
    usual = {"kind": "keg", "capacity_l": 19.5, "stamp_kpa": 200.0, "gas": "nitrogen", "room": "cellar", "wine_l": 18.0}
    return RackingVessel(id="K1", **{**usual, "temperature_c": 12.0, **changes})


def review(facts: VesselFacts | None = None, wish: RackingWish | None = None, **changes: Any) -> Review:
    bottling = changes.pop("bottling", BottlingWish())
    gas = RackingFacts(at_ms=NOW, source=source(**changes), cylinders=(N2,), rooms=(RoomGas("cellar", 30.0, (N2,)),))
    return bottling_review(facts or wine(), gas, wish or RackingWish(), bottling, "cellar.toml")


def named(found: Review, name: str) -> ReviewSection:
    return next(each for each in found.sections if each.name == name)


# ---- fermenting again -----------------------------------------------------------------------------------------------


def test_the_pressure_of_a_bottle() -> None:
    """1 g/L of sugar gives 0.489 g/L of carbon dioxide, in a headspace of 5 mL at 20 °C.

    The wine holds nearly all: p = c / (M H), H of water at 20 °C 3.87e-4 mol/(L kPa) (IAPWS G7-04) x 0.85: 34 kPa.
    """
    assert bottle_pressure_kpa(0.489) == pytest.approx(0.489 / 44.0095 / (0.85 * 3.87e-4), rel=0.03)
    # 10 g/L would be 340 kPa: bottles for still wine burst long before.
    assert bottle_pressure_kpa(4.89) == pytest.approx(10.0 * bottle_pressure_kpa(0.489))


@given(st.floats(0.0, 20.0), st.floats(0.1, 5.0), st.floats(0.0, 35.0))
def test_more_gas_presses_harder(co2_g_l: float, bottle_l: float, celsius: float) -> None:
    pressure = bottle_pressure_kpa(co2_g_l, bottle_l, celsius)
    assert 0.0 <= pressure <= bottle_pressure_kpa(co2_g_l + 1.0, bottle_l, celsius)


@pytest.mark.parametrize(
    ("facts", "verdict", "words"),
    [
        (wine(), "in order", "1 g/L of sugar, by the lot's entry: too little to ferment"),
        (wine(sugar_g_l=2.0), "in order", "Malolactic fermentation is complete."),
        (wine(sugar_g_l=4.0), "take care", "up to 140 kPa at 20 °C"),
        (wine(sugar_g_l=None), "not known", "The sugar is not known: measure it"),
        (wine(sugar_g_l=8.0, co2_g_l=None), "take care", "bottles for still wine are not made for pressure"),
        (
            replace(wine(sugar_g_l=8.0), sugar_g_l=(1.2, NOW - 3 * DAY)),
            "in order",
            "1.2 g/L of sugar, measured on 25 Nov",
        ),
        (replace(wine(), malolactic=None), "not known", "Whether malolactic fermentation is over"),
        (replace(wine(), malolactic="wanted"), "do not", "it would go on in the bottle"),
        (replace(wine(), malolactic="under way"), "do not", "0.328 g/L of carbon dioxide"),
        (replace(wine(), malolactic="prevented"), "take care", "unless molecular SO2 is at least 0.7 mg/L"),
        (
            replace(wine(), shown=BlanketShown(at_ms=NOW, finding="gas rising")),
            "do not",
            "Gas rises out of the wine in K1",
        ),
    ],
)
def test_what_may_ferment_again(facts: VesselFacts, verdict: str, words: str) -> None:
    found = refermentation_section(facts)
    assert found.verdict == verdict
    assert words in found.reason


# ---- carbon dioxide -------------------------------------------------------------------------------------------------


def test_wine_under_its_own_gas() -> None:
    """Wine of 11 % vol dissolves 1.4 g/L at 20 °C and 2.9 g/L at 0 °C under 1 atm (Zoecklein, Enology Notes 122)."""
    assert saturated_g_l(0.0, 20.0) == pytest.approx(1.4, rel=0.08)
    assert saturated_g_l(0.0, 0.0) == pytest.approx(2.9, rel=0.08)


@pytest.mark.parametrize(
    ("facts", "verdict"),
    [
        (wine(co2_g_l=(0.8, NOW - DAY)), "in order"),
        (wine(co2_g_l=(1.4, NOW - DAY)), "take care"),
        (wine(co2_g_l=(0.3, NOW - DAY)), "in order"),
        (wine("red", co2_g_l=(0.8, NOW - DAY)), "take care"),
        (wine("red", co2_g_l=(0.3, NOW - DAY)), "in order"),
        (wine(co2_g_l=(0.8, NOW - 60 * DAY)), "not known"),
        (wine(), "not known"),
        (wine(gas_name="carbon dioxide"), "take care"),
    ],
)
def test_usual_carbon_dioxide_by_style(facts: VesselFacts, verdict: str) -> None:
    """La Vigne 234, 2011: white and rosé 0.6 to 1.1 g/L, red up to 0.6."""
    found = dissolved_gas_section(facts, 55.0, 12.0)
    assert found.verdict == verdict
    assert "La Vigne" in found.reason


# ---- bottles --------------------------------------------------------------------------------------------------------


def test_bottles_of_several_sizes() -> None:
    """18 L less 3 % and two uncertainties of 0.1 L are 17.26 L: 23 of 0.75 L, 11 of 1.5 L; at best 24 and 12."""
    assert expected_bottles(18.0, 0.1, (0.75, 1.5)) == [(1.5, 11, 12), (0.75, 23, 24)]


@given(st.floats(0.0, 1000.0), st.floats(0.0, 10.0), st.lists(st.floats(0.05, 30.0), min_size=1, max_size=6))
def test_bottles_never_hold_more_than_there_is(volume_l: float, u_l: float, sizes: list[float]) -> None:
    for size_l, expected, at_best in expected_bottles(volume_l, u_l, sizes):
        assert 0 <= expected <= at_best
        assert at_best * size_l <= volume_l + 1e-6
        assert (at_best + 1) * size_l > volume_l


@pytest.mark.parametrize("sizes", [(), (0.0,), (-0.75,), (40.0,), (float("nan"),), (0.75,) * 7])
def test_sizes_that_no_bottle_has(sizes: tuple[float, ...]) -> None:
    with pytest.raises(OutOfRange) as caught:
        expected_bottles(18.0, 0.1, sizes)
    assert caught.value.of == "bottle"


# ---- all of it ------------------------------------------------------------------------------------------------------


def test_the_points_of_a_bottling() -> None:
    found = review()
    assert [section.name for section in found.sections] == [
        "rest",
        "clarity",
        "temperature",
        "blanket",
        "so2",
        "dose",
        "refermentation",
        "carbon_dioxide",
        "bottles",
        "moving",
        "supply",
        "room",
        "alarms",
    ]
    assert (review_json(found)["for"], review_json(found)["to"]) == ("bottling", None)
    supply = named(found, "supply").numbers["needs"]
    assert isinstance(supply, list)
    flushing = supply[1]
    # 24 bottles of 0.75 L are 18 L at 12 °C: 18.2 L at 15 °C, once to three times.
    assert flushing["for"] == "flushing 24 bottles"
    assert (flushing["low_l"], flushing["high_l"]) == (pytest.approx(18.19, abs=0.01), pytest.approx(54.57, abs=0.03))
    assert any(
        "leeside enter bottling cellar.toml --vessel K1 --bottles '23 x 0.75 L'" in step for step in found.checklist
    )
    assert found.cautions[0].startswith("bottles for still wine are not made for pressure")


def test_what_says_do_not_takes_the_work_away() -> None:
    found = review(replace(wine(), malolactic="under way"))
    assert (found.verdict, found.checklist) == ("do not", ())
    assert found.cautions


def test_glass_is_siphoned_into_bottles() -> None:
    found = review(kind="carboy", material="glass", stamp_kpa=None, gas="", capacity_l=23.0)
    assert named(found, "moving").numbers["method"] == "siphon"
    assert any("Start the siphon without your mouth" in step for step in found.checklist)
    pressed = review(kind="carboy", material="glass", stamp_kpa=None, wish=RackingWish(pressure_kpa=20.0))
    assert pressed.verdict == "do not"


def test_a_volume_that_nobody_knows() -> None:
    found = review(known=False, wine_l=None)
    assert named(found, "bottles").verdict == "not known"
    assert named(found, "bottles").numbers["bottles"] == []
    part = review(wish=RackingWish(volume_l=7.5))
    assert named(part, "bottles").reason.startswith("7.5 L fill about 9 bottles of 0.75 L, 10 at best")


def test_an_empty_vessel_is_refused() -> None:
    with pytest.raises(ReviewRefused, match="no wine in it to bottle"):
        review(wine_l=0.0)


def test_a_keg_that_stands_under_pressure_is_vented() -> None:
    lines = named(review(pressure_kpa=NewestNumber(55.0, NOW)), "moving").lines
    assert any("vent it to what you push with" in line for line in lines)
