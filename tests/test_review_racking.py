"""A review before a racking: what fits, what purging leaves, how the wine is moved, whether the gas suffices."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC
from math import exp, isfinite, pi
from typing import Any

import fluids
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.errors import OutOfRange, ReviewRefused
from alerts.gas.gases import GASES
from alerts.gas.over_wine import oxygen_saturation_mg_l
from alerts.gas.stock import GasStock, NewestNumber, RoomGas
from alerts.gas.tube_flow import wine_viscosity
from alerts.gas.wine_density import wine_density
from alerts.review.racking_facts import RackingFacts, RackingVessel, RackingWish
from alerts.review.racking_gas import racking_gas
from alerts.review.review_lines import review_json, review_lines
from alerts.review.section import Review, ReviewSection

NITROGEN, _, CARBON_DIOXIDE = GASES.values()
NOW = 1_795_631_400_000
DAY = 86_400_000
N2 = GasStock("N2", NITROGEN, 1400.0, 1300.0, "pressure", NOW)


def keg(id: str, **changes: Any) -> RackingVessel:
    usual: dict[str, Any] = {"kind": "keg", "capacity_l": 19.5, "stamp_kpa": 200.0, "gas": "nitrogen", "room": "cellar"}
    return RackingVessel(id=id, **{**usual, "wine_l": 0.0, **changes})


def carboy(id: str, **changes: Any) -> RackingVessel:
    usual: dict[str, Any] = {"kind": "carboy", "capacity_l": 23.0, "material": "glass", "room": "cellar"}
    return RackingVessel(id=id, **{**usual, "wine_l": 0.0, **changes})


def facts(**changes: Any) -> RackingFacts:
    usual: dict[str, Any] = {
        "at_ms": NOW,
        "source": keg("K1", wine_l=18.0, temperature_c=15.0),
        "receiver": keg("K2"),
        "cylinders": (N2,),
        "rooms": (RoomGas("cellar", 30.0, (N2,)),),
    }
    return RackingFacts(**{**usual, **changes})


def review(*, wish: RackingWish | None = None, **changes: Any) -> Review:
    return racking_gas(facts(**changes), wish or RackingWish(), "cellar.toml")


def section(name: str, *, wish: RackingWish | None = None, **changes: Any) -> ReviewSection:
    return next(each for each in review(wish=wish, **changes).sections if each.name == name)


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


# ---- purging --------------------------------------------------------------------------------------------------------


def choices(**changes: Any) -> list[dict[str, Any]]:
    found = section("purge", **changes).numbers["choices"]
    assert isinstance(found, list)
    return found


def test_the_choices_follow_crowl_and_louvar() -> None:
    """Chemical Process Safety: y = y0 (pL/pH)^j of absolute pressures; a sweep of V leaves y0 exp(-V/Vg).

    At 101.325 kPa 0.5 % take 9 cycles of 55 kPa, and 20.95 (101.325/156.325)^9 = 0.423 %.
    """
    found = {(each["method"], each["high_kpa"]): each for each in choices()}
    assert set(found) == {("none", None), ("sweep", None), ("vent", 20.0), ("vent", 55.0), ("vent", 100.0)}
    vent = found["vent", 55.0]
    assert (vent["cycles"], vent["o2_percent"]) == (9, pytest.approx(20.95 * (101.325 / 156.325) ** 9))
    assert vent["gas_l"] == pytest.approx(9 * 19.5 * 55.0 / 101.325)
    sweep = found["sweep", None]
    assert sweep["o2_percent"] == pytest.approx(20.95 * exp(-sweep["cycles"])) == pytest.approx(0.5)
    assert sweep["gas_l"] == pytest.approx(19.5 * sweep["cycles"])


def test_the_oxygen_in_milligrams() -> None:
    """1.5 L of air at 15 °C hold 1.5/23.645 mol x 20.95 % = 425 mg, 23.6 mg per litre of 18; saturated wine 9.1 mg/L.

    Wine saturated with air at 15 °C: 8.8 (Oenopedia) to 9.1 mg/L (model of the reference, wine factor 0.90).
    """
    air = choices()[0]
    assert air["o2_mg_l"] == pytest.approx(1500.0 / 23.645 * 0.2095 * 31.998 / 18.0, rel=1e-3)
    assert air["o2_at_most_mg_l"] - air["o2_mg_l"] == pytest.approx(9.1, abs=0.3)
    assert air["so2_at_most_mg_l"] == pytest.approx(4.0 * air["o2_at_most_mg_l"])


@pytest.mark.parametrize(("celsius", "mg_l"), [(5.0, 11.3), (10.0, 10.1), (15.0, 9.1), (20.0, 8.2), (25.0, 7.4)])
def test_wine_saturated_with_air(celsius: float, mg_l: float) -> None:
    """Benson and Krause's values for water (APHA) times 0.90; dry air at 101.325 kPa less the vapour."""
    assert oxygen_saturation_mg_l(20.95, celsius, 101.325 - 2.15) == pytest.approx(mg_l, abs=0.15)


@pytest.mark.parametrize(
    ("receiver", "reason"),
    [
        (carboy("C2"), "glass bursts"),
        (keg("K2", material="glass"), "glass bursts"),
        (keg("K2", material="plastic"), "plastic is not a pressure vessel"),
        (keg("B1", kind="barrel", material="wood"), "a barrel is not a pressure vessel"),
        (keg("K2", stamp_kpa=None), "does not say what is stamped on K2"),
    ],
)
def test_no_gas_is_pressed_into_what_is_not_made_for_it(receiver: RackingVessel, reason: str) -> None:
    found = section("purge", receiver=receiver)
    assert reason in str(found.numbers["pressing_in_refused"])
    assert {each["method"] for each in choices(receiver=receiver)} == {"none", "sweep"}


@given(stamp=st.floats(0.5, 1000.0))
def test_no_choice_comes_near_the_stamp(stamp: float) -> None:
    pressed = [each["high_kpa"] for each in choices(receiver=keg("K2", stamp_kpa=stamp)) if each["method"] == "vent"]
    assert pressed
    assert max(pressed) <= 0.9 * stamp * (1.0 + 1e-9)


@given(
    capacity=st.floats(20.0, 60.0),
    moved=st.floats(0.5, 18.0),
    held=st.floats(0.0, 1.0),
    target=st.floats(0.01, 20.0),
    celsius=st.floats(-5.0, 40.0),
)
def test_the_bounds_of_the_oxygen(capacity: float, moved: float, held: float, target: float, celsius: float) -> None:
    """No more than is there, never less than what stays in the headspace; purged is never worse than not purged."""
    made = choices(
        source=keg("K1", wine_l=18.0, temperature_c=celsius),
        receiver=keg("K2", capacity_l=capacity, wine_l=held),
        wish=RackingWish(volume_l=moved, target_o2_percent=target),
    )
    for each in made:
        present = each["o2_percent"] / 100 * 101.325 * (capacity - held) / (8.314462618 * (celsius + 273.15)) * 31998
        assert 0.0 <= each["o2_mg_l"] <= each["o2_at_most_mg_l"] * (1.0 + 1e-9)
        assert each["o2_at_most_mg_l"] <= present / (moved + held) * (1.0 + 1e-9)
        assert each["o2_at_most_mg_l"] <= made[0]["o2_at_most_mg_l"] * (1.0 + 1e-9)


def test_a_brimful_receiver_has_nothing_to_purge() -> None:
    full = section("purge", receiver=keg("K2", capacity_l=19.5, wine_l=19.499), wish=RackingWish(volume_l=0.001))
    assert "no air in K2 to purge" in full.reason


# ---- moving ---------------------------------------------------------------------------------------------------------


def test_a_push_against_fluids() -> None:
    """The drop of pressure that fluids works out for the flow, smooth tube, K = 1.5: 20 kPa less 0.5 m of wine."""
    found = section("moving", wish=RackingWish(bore_mm=6.35, length_m=2.0, lift_m=0.5, pressure_kpa=20.0))
    assert found.numbers["method"] == "push"
    way = found.numbers["choices"][0]  # type: ignore[index]  # an object of JSON
    density, viscosity = wine_density(12.0, 15.0), wine_viscosity(15.0)
    speed = way["flow_l_min"] / 60_000.0 / (pi / 4.0 * 0.00635**2)
    friction = fluids.friction_factor(Re=fluids.Reynolds(V=speed, D=0.00635, rho=density, mu=viscosity), eD=0.0)
    drop = fluids.dP_from_K(fluids.K_from_f(friction, 2.0, 0.00635) + 1.5, rho=density, V=speed) / 1000.0
    assert drop == pytest.approx(20.0 - density * 9.80665 * 0.5 / 1000.0, rel=0.04)
    assert way["minutes"] == pytest.approx(18.0 / way["flow_l_min"])
    assert way["gas_l"] == pytest.approx(18.0 * 121.325 / 101.325, rel=1e-3)


def test_other_bores_are_compared_where_none_is_given() -> None:
    """A narrower tube is slower; what it takes is what it takes when it is asked for."""
    found: Any = section("moving").numbers["other_bores"]
    assert [each["bore_mm"] for each in found] == [6.35, 9.5, 12.7]
    assert [each["minutes"] for each in found] == sorted((each["minutes"] for each in found), reverse=True)
    asked: Any = section("moving", wish=RackingWish(bore_mm=9.5)).numbers
    assert asked["choices"][0]["minutes"] == found[1]["minutes"]
    assert asked["other_bores"] == []


def test_glass_is_siphoned_and_never_pushed() -> None:
    source = carboy("C1", wine_l=18.0)
    found = section("moving", source=source)
    assert (found.numbers["method"], found.verdict) == ("siphon", "in order")
    assert "never pushed, since glass bursts" in found.reason
    way = found.numbers["choices"][0]  # type: ignore[index]  # an object of JSON
    assert way["flow_start_l_min"] > way["flow_l_min"] > way["flow_end_l_min"]
    pushed = review(source=source, wish=RackingWish(pressure_kpa=20.0))
    assert pushed.verdict == "do not"
    assert "Glass bursts without warning" in next(each for each in pushed.sections if each.name == "moving").reason


def test_a_keg_of_glass_or_plastic_is_not_pushed_either() -> None:
    for material in ("glass", "plastic"):
        found = section("moving", source=keg("K1", material=material, wine_l=18.0))
        assert found.numbers["method"] == "siphon"


def test_glass_under_pressure_is_to_be_let_off_first() -> None:
    found = section("moving", source=carboy("C1", wine_l=18.0, pressure_kpa=NewestNumber(14.1, NOW)))
    assert found.verdict == "take care"
    assert found.lines[0].startswith("C1 stood at 14 kPa when it was last read: stand aside")
    calm = section("moving", source=carboy("C1", wine_l=18.0, pressure_kpa=NewestNumber(0.4, NOW)))
    assert calm.verdict == "in order"


def test_a_push_above_the_stamp_is_refused() -> None:
    found = section("moving", wish=RackingWish(pressure_kpa=250.0))
    assert found.verdict == "do not"
    assert "250 kPa is more than the 200 kPa stamped" in found.reason
    assert found.numbers["choices"] == []


def test_a_low_stamp_leaves_the_lower_pressure() -> None:
    found = section("moving", source=keg("T1", kind="tank", wine_l=18.0, stamp_kpa=25.0))
    assert [way["pressure_kpa"] for way in found.numbers["choices"]] == [20.0]  # type: ignore[attr-defined]
    assert "35 kPa is more than the 25 kPa stamped" in " ".join(found.lines)
    assert section("moving", source=keg("T1", kind="tank", wine_l=18.0, stamp_kpa=10.0)).verdict == "do not"


def test_a_lift_that_the_pressure_does_not_manage() -> None:
    found = section("moving", wish=RackingWish(lift_m=5.0))
    assert found.verdict == "do not"
    assert "does not move the wine" in found.reason


def test_what_a_push_is_warned_of() -> None:
    unstamped = section("moving", source=keg("K1", wine_l=18.0, stamp_kpa=None))
    assert (unstamped.verdict, "read it, and stay below it" in unstamped.lines[0]) == ("take care", True)
    hard = section("moving", wish=RackingWish(pressure_kpa=80.0))
    assert (hard.verdict, "is plenty to push wine" in hard.lines[-1]) == ("take care", True)
    charged = section("moving", source=keg("K1", wine_l=18.0, pressure_kpa=NewestNumber(55.0, NOW)))
    assert "K1 stood at 55 kPa when it was last read: vent it" in charged.lines[-1]


# ---- gas and room ---------------------------------------------------------------------------------------------------


def test_the_gas_for_all_of_it() -> None:
    found = section("supply")
    needs: Any = found.numbers["needs"]
    assert [each["for"] for each in needs] == ["purging K2", "pushing from K1", "a blanket of 55 kPa on K2"]
    assert needs[2]["high_l"] == pytest.approx(1.5 * 55.0 / 101.325, rel=1e-3)
    assert found.numbers["gas_high_l"] == pytest.approx(sum(each["high_l"] for each in needs))
    assert (found.verdict, found.numbers["cylinders"][0]["enough"]) == ("in order", True)  # type: ignore[index]


@pytest.mark.parametrize(
    ("stocks", "verdict", "words"),
    [
        ((replace(N2, usable_l=100.0),), "do not", "does not suffice"),
        ((replace(N2, usable_l=160.0),), "take care", "barely suffices"),
        ((replace(N2, at_ms=NOW - 40 * DAY),), "take care", "40 d old: read it again"),
        ((replace(N2, usable_l=None, basis="full", at_ms=None),), "not known", "read its gauge"),
        ((GasStock("CO2", CARBON_DIOXIDE, 3000.0, 2900.0, "weight", NOW),), "not known", "has no cylinder of it"),
        ((), "not known", "has no cylinder of it"),
        ((replace(N2, usable_l=100.0), replace(N2, place="N3")), "in order", "N3 can deliver 1,300 L"),
    ],
)
def test_whether_the_cylinder_suffices(stocks: tuple[GasStock, ...], verdict: str, words: str) -> None:
    found = section("supply", cylinders=stocks)
    assert found.verdict == verdict
    assert words in found.reason


def test_a_gas_line_says_which_cylinder_counts() -> None:
    stocks = (replace(N2, usable_l=100.0), replace(N2, place="N3"))
    found = section("supply", cylinders=stocks, lines=frozenset({("N2", "K1"), ("N2", "K2")}))
    assert (found.verdict, "N2 can deliver 100 L" in found.reason) == ("do not", True)


def test_vessels_under_different_gases() -> None:
    stocks = (N2, GasStock("CO2", CARBON_DIOXIDE, 20.0, 10.0, "weight", NOW))
    found = section("supply", receiver=keg("K2", gas="carbon dioxide"), cylinders=stocks)
    assert "K1 is under nitrogen, K2 under carbon dioxide" in found.reason
    assert found.verdict == "do not", "the cylinder of carbon dioxide is nearly empty"


@pytest.mark.parametrize(
    ("room", "verdict", "words"),
    [
        (RoomGas("cellar", 30.0, (N2,)), "in order", "oxygen falls to 20.0 %"),
        (RoomGas("closet", 4.0, (N2,)), "take care", "13.6 %: fatigue and poor judgement"),
        (RoomGas("cellar", None, (N2,)), "not known", "does not know the air of the room cellar"),
        (RoomGas("", None, (N2,)), "not known", "does not say in which room"),
    ],
)
def test_the_room(room: RoomGas, verdict: str, words: str) -> None:
    found = section("room", rooms=(room,))
    assert found.verdict == verdict
    assert words in " ".join(found.lines)


def test_the_gas_of_the_work_itself_counts() -> None:
    """140 L of carbon dioxide into 10 m³ are 1.4 %, though what stands there is little."""
    room = RoomGas("closet", 10.0, (GasStock("K1", NITROGEN, 30.0, None, "pressure", is_cylinder=False),))
    vessels: dict[str, Any] = {
        "source": keg("K1", wine_l=18.0, gas="carbon dioxide"),
        "receiver": keg("K2", gas="carbon dioxide"),
    }
    found = section("room", rooms=(room,), **vessels)
    assert found.verdict == "take care"
    assert "carbon dioxide rises by 1.4 %" in " ".join(found.lines)
    numbers: Any = found.numbers["rooms"]
    assert numbers[0]["work_co2_percent"] == pytest.approx(numbers[0]["work_gas_l"] / 100.0)


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
