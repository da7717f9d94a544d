"""The review of a racking: purging the vessel that receives the wine."""

from __future__ import annotations

from math import exp
from typing import Any

import pytest
from a_racking import carboy, keg, section
from hypothesis import given
from hypothesis import strategies as st

from alerts.gas.over_wine import oxygen_saturation_mg_l
from alerts.review.racking_facts import RackingVessel, RackingWish


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
