"""A review before a racking: what fits, what purging leaves, how the wine is moved, whether the gas suffices."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC
from math import isfinite
from typing import Any

import pytest
from a_racking import carboy, facts, keg, review, section
from hypothesis import given
from hypothesis import strategies as st

from alerts.errors import OutOfRange, ReviewRefused
from alerts.review.racking_facts import RackingVessel, RackingWish
from alerts.review.racking_gas import racking_gas
from alerts.review.review_lines import review_json, review_lines

# ---- does it fit ----------------------------------------------------------------------------------------------------


def test_wine_that_fits() -> None:
    found = section("receiver")
    assert (found.verdict, found.numbers["headspace_after_l"]) == ("in order", 1.5)
    assert found.reason == "18 L fit into K2 (19.5 L); headspace after: 1.5 L."


def test_a_receiver_that_is_too_small_names_those_that_are_not() -> None:
    empty = (keg("K3", capacity_l=10.0), keg("K4", capacity_l=25.0), keg("K2", capacity_l=15.0))
    whole = review(receiver=keg("K2", capacity_l=15.0), empty=empty)
    found = whole.sections[0]
    assert (whole.verdict, found.verdict) == ("do not", "do not")
    assert "18 L do not fit into K2: it takes 15 L when brimful; 3 L are too much." in found.reason
    assert found.lines == ("K3, keg, 10 L, empty: too small", "K4, keg, 25 L, empty: 7 L headspace")
    assert [each.name for each in whole.sections] == ["receiver", "room"], "nothing is planned for what does not fit"


@pytest.mark.parametrize(
    ("receiver", "words"),
    [
        (keg("K2", wine_l=1.0, lots=("R24",)), "K2 holds 1 L of R24: this makes a blend."),
        (keg("K2", known=False, wine_l=None), "The journal does not say what K2 holds"),
        (keg("K2", out_of_use=True), "K2 is out of use"),
        (keg("K2", capacity_l=18.02), "filled by the wine when it warms by 10 °C"),
        (keg("K2", u_wine_l=0.0, capacity_l=18.3), "may overflow"),
        (keg("K2", capacity_l=30.0), "much headspace"),
    ],
)
def test_what_to_take_care_of(receiver: RackingVessel, words: str) -> None:
    found = section("receiver", receiver=receiver, source=keg("K1", wine_l=18.0, u_wine_l=0.2, temperature_c=15.0))
    assert found.verdict == "take care"
    assert words in " ".join(found.lines)


@pytest.mark.parametrize(
    ("receiver", "bottles"),
    [
        (keg("K2", capacity_l=20.0), None),
        (keg("K2", capacity_l=20.0, gas=""), 3),
        (carboy("C2", capacity_l=20.0), 3),
        (carboy("C2", capacity_l=18.1), 0),
    ],
)
def test_bottles_to_top_it_up(receiver: RackingVessel, bottles: int | None) -> None:
    """2 L less 0.1 L in the neck and what the wine grows by when it warms are more than two bottles of 0.75 L."""
    found = section("receiver", receiver=receiver, source=carboy("C1", wine_l=18.0, temperature_c=15.0))
    assert found.numbers["topping_bottles"] == bottles
    assert any("To top it up have 3 bottles of 0.75 L" in line for line in found.lines) == (bottles == 3)


def test_a_volume_that_nobody_knows() -> None:
    whole = review(source=keg("K1", known=False, wine_l=None))
    assert whole.sections[0].verdict == "not known"
    assert "Weigh or dip it, or give --volume-l." in whole.sections[0].reason
    moving = next(each for each in whole.sections if each.name == "moving")
    assert "a brimful K1" in " ".join(moving.lines)
    given_l = section("receiver", source=keg("K1", wine_l=None), wish=RackingWish(volume_l=17.0))
    assert given_l.numbers["headspace_after_l"] == 2.5


@pytest.mark.parametrize(
    ("wish", "changes", "of"),
    [
        (RackingWish(volume_l=18.5), {}, "volume"),
        (RackingWish(volume_l=0.0), {}, "volume"),
        (RackingWish(volume_l=-3.0), {}, "volume"),
        (RackingWish(volume_l=20.0), {"source": keg("K1", wine_l=None)}, "volume"),
        (RackingWish(), {"receiver": keg("K1")}, "receiver"),
        (RackingWish(target_o2_percent=0.0), {}, "target oxygen"),
        (RackingWish(target_o2_percent=25.0), {"receiver": None}, "target oxygen"),
        (RackingWish(bore_mm=0.5), {"receiver": None}, "bore"),
        (RackingWish(length_m=500.0), {}, "length"),
        (RackingWish(lift_m=60.0), {}, "height"),
        (RackingWish(pressure_kpa=-1.0), {}, "push pressure"),
        (RackingWish(pressure_kpa=5000.0), {}, "push pressure"),
        (RackingWish(lift_m=0.5), {"source": carboy("C1", wine_l=18.0)}, "height"),
        (RackingWish(head_start_m=0.5), {}, "head at the start"),
        (RackingWish(head_end_m=0.5), {}, "head at the end"),
        (RackingWish(head_start_m=0.3, head_end_m=0.5), {"source": carboy("C1", wine_l=18.0)}, "head at the end"),
        (RackingWish(blanket_kpa=201.0), {}, "blanket"),
        (RackingWish(blanket_kpa=-1.0), {}, "blanket"),
        (RackingWish(blanket_kpa=20.0), {"receiver": carboy("C2")}, "blanket"),
    ],
)
def test_what_cannot_be_wished(wish: RackingWish, changes: dict[str, Any], of: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        review(wish=wish, **changes)
    assert caught.value.of == of


def test_an_empty_vessel_has_nothing_to_move() -> None:
    with pytest.raises(ReviewRefused, match="K1 is empty"):
        review(source=keg("K1"))


# ---- the whole ------------------------------------------------------------------------------------------------------


def test_without_a_receiver_it_says_what_can_be_said() -> None:
    whole = review(receiver=None, empty=(keg("K2"), keg("K3", capacity_l=10.0)))
    assert [each.name for each in whole.sections] == ["receiver", "moving", "supply", "room"]
    assert whole.sections[0].numbers["fitting_vessels"] == ["K2"]
    assert "choose one and give it with --to" in whole.sections[0].reason
    assert whole.verdict == "not known"


def test_a_tank_warns_of_going_in() -> None:
    tank = keg("T1", kind="tank", capacity_l=300.0, wine_l=250.0, stamp_kpa=50.0)
    into_tank, from_tank = review(receiver=tank), review(source=tank, receiver=keg("T2", kind="tank", capacity_l=300.0))
    for whole in (into_tank, from_tank):
        assert "never climb, reach or lean into a tank" in " ".join(whole.cautions)
    assert "never climb" not in " ".join(review().cautions)


def test_the_work_ends_with_the_entry() -> None:
    steps = review(wish=RackingWish(volume_l=17.0)).checklist
    assert "sanitise" in steps[0]
    assert any("leeside enter racking cellar.toml --from K1=17L --to K2 --air 'under gas'" in step for step in steps)
    siphoned = review(source=carboy("C1", wine_l=18.0), receiver=keg("K2", wine_l=0.5)).checklist
    assert any("without your mouth" in step for step in siphoned)
    assert any("--from C1 --to K2 --blend --air closed" in step for step in siphoned)


def test_a_receiver_with_wine_in_it_is_neither_cleaned_nor_filled_with_water() -> None:
    onto_wine = review(receiver=keg("K2", wine_l=5.0), wish=RackingWish(volume_l=4.0))
    assert (
        onto_wine.checklist[0] == "Clean and sanitise hoses and fittings; rinse them; look at the seals and taps of K2."
    )
    assert any(
        step.startswith("Let the pressure off K2, then purge its headspace with") for step in onto_wine.checklist
    )
    purge = next(each for each in onto_wine.sections if each.name == "purge")
    assert purge.reason.startswith("If it has lost its blanket, the air over the wine in K2 brings up to ")
    assert not any("water" in line for line in purge.lines)
    without = section("purge", receiver=carboy("C2", wine_l=5.0), wish=RackingWish(volume_l=4.0))
    assert without.reason.startswith("Unpurged, the air over the wine in C2 brings up to ")
    assert any("water" in line for line in section("purge").lines)


@pytest.mark.parametrize(
    ("source", "volume_l", "last"),
    [
        (keg("K1", wine_l=18.0), None, "Rinse K1 from outside"),
        (keg("K1", wine_l=18.0), 18.0, "Rinse K1 from outside"),
        (keg("K1", wine_l=18.0), 4.0, "Give what stays in K1 its blanket again"),
        (carboy("C1", wine_l=18.0), 4.0, "Top up C1"),
    ],
)
def test_what_becomes_of_the_vessel_that_the_wine_came_from(
    source: RackingVessel, volume_l: float | None, last: str
) -> None:
    assert review(source=source, wish=RackingWish(volume_l=volume_l)).checklist[-1].startswith(last)


def test_what_must_not_be_done_has_no_list_of_work() -> None:
    assert review(receiver=keg("K2", capacity_l=10.0)).checklist == ()
    assert review(wish=RackingWish(pressure_kpa=250.0)).checklist == ()


capacities = st.floats(0.1, 1e6)
shares = st.one_of(st.none(), st.floats(0.0, 1.0))
stamps = st.one_of(st.none(), st.floats(0.01, 1000.0))
celsius = st.one_of(st.none(), st.floats(-60.0, 80.0))
names = st.sampled_from(["", "nitrogen", "argon", "carbon dioxide"])


@st.composite
def vessels(draw: st.DrawFn, id: str) -> RackingVessel:
    """Any vessel that a cellar file and a journal could give, sensible or not."""
    capacity, share = draw(capacities), draw(shares)
    return RackingVessel(
        id=id,
        kind=draw(st.sampled_from(["keg", "tank", "carboy", "barrel", "bottle"])),
        capacity_l=capacity,
        material=draw(st.sampled_from(["steel", "glass", "wood", "plastic"])),
        stamp_kpa=draw(stamps),
        gas=draw(names),
        room=draw(st.sampled_from(["", "cellar"])),
        known=share is not None,
        wine_l=None if share is None else share * capacity,
        u_wine_l=draw(st.one_of(st.none(), st.floats(0.0, 10.0))),
        alcohol_percent_vol=draw(st.one_of(st.none(), st.floats(0.0, 25.0))),
        temperature_c=draw(celsius),
    )


def _numbers(value: object) -> Iterator[float]:
    if isinstance(value, Mapping):
        for inner in value.values():
            yield from _numbers(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from _numbers(inner)
    elif isinstance(value, int | float):
        yield value


@given(source=vessels("A"), receiver=st.one_of(st.none(), vessels("B")), barometer=st.floats(60.0, 110.0))
def test_any_cellar_gets_a_review(source: RackingVessel, receiver: RackingVessel | None, barometer: float) -> None:
    """Nothing but an empty source, or a drop that nobody would move, is refused; each number is finite."""
    if source.wine_l is not None and source.wine_l < 0.001:
        return
    whole = racking_gas(facts(source=source, receiver=receiver, barometer_kpa=barometer), RackingWish(), "cellar.toml")
    found = review_json(whole)
    assert all(isfinite(number) for number in _numbers(found))
    assert "nan" not in " ".join(review_lines(whole, UTC)).split()
    pushed = [each for each in whole.sections if each.name == "moving" and each.numbers["method"] == "push"]
    assert not (pushed and source.wall_kind not in ("keg", "tank"))
