"""The review of a racking: pushing the wine or siphoning it."""

from __future__ import annotations

from math import pi
from typing import Any

import fluids
import pytest
from a_racking import NOW, carboy, keg, review, section

from alerts.gas.stock import NewestNumber
from alerts.gas.tube_flow import wine_viscosity
from alerts.gas.wine_density import wine_density
from alerts.review.racking_facts import RackingWish


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
