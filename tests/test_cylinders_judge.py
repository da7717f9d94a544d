"""The judge of cylinders: from stored readings, weighings and valves to the days that a cylinder lasts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import cos, pi
from pathlib import Path

import pytest
from a_gas_store import BEGIN_MS, DAY_MS, GAUGE, HOUR_MS, ROOM_WARMTH, WARMTH, GasStore, gauge_kpa
from cellar_text import probe

from alerts.cylinders.details import CylinderShown, cylinder_shown
from alerts.turning.judgement_feed import as_reading
from ingest.judgement import Judgement
from ingest.store.journal.entries import strike

FULL_L = 1426.0


def night(days: float) -> float:
    """20 °C at noon and 10 °C at midnight."""
    return 15.0 + 5.0 * cos(2.0 * pi * (days - 0.5))


def bar(litres: Callable[[float], float]) -> Callable[[float], float]:
    """What the gauge shows in bar, the unit of its label."""
    return lambda days: gauge_kpa(litres(days), night(days)) / 100.0


def shown(judgement: Judgement) -> CylinderShown:
    found = cylinder_shown(judgement)
    assert found is not None
    return found


@pytest.fixture
def stores(tmp_path: Path) -> Iterator[Callable[..., GasStore]]:
    made: list[GasStore] = []

    def make(*probes: str) -> GasStore:
        made.append(GasStore(tmp_path, *probes))
        return made[-1]

    yield make
    for each in made:
        each.store.close()


def test_a_cylinder_with_gauge_and_thermometer(stores: Callable[..., GasStore]) -> None:
    store = stores(GAUGE, WARMTH)
    store.read("n2-pressure", bar(lambda days: FULL_L - 20.0 * days), 14.0)
    store.read("n2-temperature", night, 14.0)
    judgement = store.judged(14.0)["N2"]
    seen = shown(judgement)
    left = FULL_L - 280.0
    assert seen.content_l == pytest.approx(left, rel=0.003)
    assert seen.content_kg == pytest.approx(left / 23.645 * 0.0280134, rel=0.003)
    assert seen.use_l_day == pytest.approx(20.0, rel=0.03)
    assert (seen.basis, seen.thermometer, seen.gas, seen.by_hand) == ("pressure", "cylinder", "nitrogen", False)
    assert seen.raw_kpa == pytest.approx(gauge_kpa(left, night(14.0)), rel=0.01)
    assert judgement.at_ms == BEGIN_MS + 14 * DAY_MS
    assert judgement.value == judgement.low
    assert judgement.value is not None
    assert judgement.high is not None
    # 1 MPa is 109 L in it, 0.5 MPa is 59 L.
    assert judgement.value < (left - 109.0) / 20.0
    assert judgement.high > (left - 59.0) / 20.0
    assert judgement.finding == ""
    assert judgement.decides
    assert seen.remarks == ()


def test_the_room_stands_in_for_a_thermometer_at_the_cylinder_and_widens(stores: Callable[..., GasStore]) -> None:
    store = stores(GAUGE, ROOM_WARMTH)
    store.read("n2-pressure", bar(lambda _: FULL_L), 14.0)
    store.read("air", night, 14.0)
    judgement = store.judged(14.0)["N2"]
    seen = shown(judgement)
    assert seen.thermometer == "room"
    assert not seen.use_seen
    # It lasts long, and nobody knows how long at the most.
    assert judgement.value is not None
    assert judgement.value > 100.0
    assert judgement.high is None


def test_without_a_thermometer_it_says_so_and_can_tell_less(stores: Callable[..., GasStore]) -> None:
    store = stores(GAUGE)
    store.read("n2-pressure", bar(lambda days: FULL_L - 5.0 * days), 9.0)
    judgement = store.judged(9.0)["N2"]
    seen = shown(judgement)
    assert seen.thermometer == ""
    assert any("nothing measures its temperature" in remark for remark in seen.remarks)
    assert not seen.use_seen


def test_a_thermometer_that_went_silent_is_no_thermometer(stores: Callable[..., GasStore]) -> None:
    store = stores(GAUGE, WARMTH)
    store.read("n2-pressure", bar(lambda _: FULL_L), 14.0)
    store.read("n2-temperature", night, 12.0)
    assert shown(store.judged(14.0)["N2"]).thermometer == ""


def test_a_thermometer_that_was_silent_for_some_hours_leaves_those_out(stores: Callable[..., GasStore]) -> None:
    store = stores(GAUGE, WARMTH)
    store.read("n2-pressure", bar(lambda _: FULL_L), 14.0)
    store.read("n2-temperature", night, 13.5)
    judgement = store.judged(14.0)["N2"]
    # A temperature counts for three hours, so the newest amount is nine hours old: no limit is judged by it.
    assert judgement.finding == "no judgement"
    assert judgement.at_ms < BEGIN_MS + 14 * DAY_MS - 8 * HOUR_MS
    assert not judgement.decides


def test_before_a_week_it_cannot_tell_yet(stores: Callable[..., GasStore]) -> None:
    store = stores(GAUGE, WARMTH)
    store.read("n2-pressure", bar(lambda days: FULL_L - 20.0 * days), 5.0)
    store.read("n2-temperature", night, 5.0)
    judgement = store.judged(5.0)["N2"]
    assert (judgement.value, judgement.finding, judgement.decides) == (None, "cannot tell yet", False)
    assert shown(judgement).content_l == pytest.approx(FULL_L - 100.0, rel=0.003)
    assert any("week" in remark for remark in shown(judgement).remarks)


def test_a_gauge_that_went_silent_decides_nothing(stores: Callable[..., GasStore]) -> None:
    store = stores(GAUGE, WARMTH)
    store.read("n2-pressure", bar(lambda days: FULL_L - 20.0 * days), 14.0)
    store.read("n2-temperature", night, 15.0)
    judgement = store.judged(15.0)["N2"]
    assert judgement.finding == "no judgement"
    assert as_reading(judgement, BEGIN_MS + 15 * DAY_MS).quality != 0


def test_a_leak_behind_an_open_supply_is_found_at_the_cylinder(stores: Callable[..., GasStore]) -> None:
    store = stores(GAUGE, WARMTH)
    store.write(1.0, "gas", "N2", act="supply opened")
    store.write(1.0, "gas", "K2", act="supply shut")
    store.read("n2-pressure", bar(lambda days: FULL_L - 2.0 * days - max(0.0, days - 9.75) * 1440.0), 10.0)
    store.read("n2-temperature", night, 10.0)
    judgement = store.judged(10.0)["N2"]
    seen = shown(judgement)
    assert judgement.finding == "supply open"
    assert seen.open_at == ("K1",)
    assert seen.fast_l_day == pytest.approx(1440.0, rel=0.1)
    assert judgement.value is not None
    assert judgement.value < 1.0
    assert judgement.decides


def test_a_new_cylinder_ends_the_alarm_at_once(stores: Callable[..., GasStore]) -> None:
    store = stores(GAUGE, WARMTH)

    def litres(days: float) -> float:
        return 340.0 - 20.0 * days if days < 10.0 else FULL_L - 20.0 * (days - 10.0)

    store.read("n2-pressure", bar(litres), 10.2)
    store.read("n2-temperature", night, 10.2)
    before, after = store.judged(9.9)["N2"], store.judged(10.2)["N2"]
    assert before.value is not None
    assert before.value < 7.0
    assert after.value is not None
    assert after.value > 40.0
    refilled_ms = shown(after).refilled_ms
    assert refilled_ms is not None
    assert abs(refilled_ms - (BEGIN_MS + 10 * DAY_MS)) <= HOUR_MS


def test_a_gauge_behind_the_regulator_is_passed_over(stores: Callable[..., GasStore]) -> None:
    outlet = probe("n2-outlet", "N2", topic="n2/outlet")
    store = stores(outlet, GAUGE, WARMTH)
    store.read("n2-outlet", lambda _: 55.0, 1.0)
    store.read("n2-pressure", bar(lambda _: FULL_L), 1.0)
    store.read("n2-temperature", night, 1.0)
    assert shown(store.judged(1.0)["N2"]).content_l == pytest.approx(FULL_L, rel=0.003)


# ---- read and weighed by hand ---------------------------------------------------------------------------------------


def test_a_dial_read_by_hand_cannot_tell_yet(stores: Callable[..., GasStore]) -> None:
    store = stores(ROOM_WARMTH)
    store.read("air", night, 9.0)
    for day in range(10):
        kpa = round(gauge_kpa(FULL_L - 20.0 * day, night(day)) / 1000.0) * 1000.0
        store.write(day, "measurement", "N2", quantity="pressure", value=kpa)
    judgement = store.judged(9.0)["N2"]
    seen = shown(judgement)
    assert (judgement.value, judgement.finding) == (None, "cannot tell yet")
    assert (seen.basis, seen.by_hand, seen.thermometer) == ("pressure", True, "room")
    assert seen.content_l == pytest.approx(FULL_L - 180.0, abs=120.0)
    assert seen.u_content_l is not None
    assert seen.u_content_l > 50.0


def test_a_fine_gauge_read_by_hand_says_how_fine_it_is(stores: Callable[..., GasStore]) -> None:
    store = stores(ROOM_WARMTH)
    store.read("air", night, 9.0)
    for day in range(10):
        kpa = gauge_kpa(FULL_L - 20.0 * day, night(day))
        store.write(day, "measurement", "N2", quantity="pressure", value=kpa, u_value=30.0)
    judgement = store.judged(9.0)["N2"]
    assert shown(judgement).use_seen
    assert judgement.value is not None
    assert judgement.value < (FULL_L - 180.0) / 20.0


def test_a_carbon_dioxide_cylinder_is_judged_by_its_weighings(stores: Callable[..., GasStore]) -> None:
    gauge = probe("co2-pressure", "CO2", topic="co2/p")
    store = stores(gauge, ROOM_WARMTH)
    store.read("air", lambda _: 15.0, 21.0)
    # Its vapour pressure at 15 °C, whatever is left.
    store.read("co2-pressure", lambda _: 5087.0 - 101.0, 21.0)
    for day in (0.0, 10.0, 20.0):
        weight = {"value": 20.0 - 0.1 * day, "content_kg": 6.0 - 0.1 * day}
        store.write(day, "measurement", "CO2", quantity="weight", **weight)
    judgement = store.judged(21.0)["CO2"]
    seen = shown(judgement)
    assert seen.basis == "weight"
    assert seen.content_kg == pytest.approx(4.0)
    assert seen.content_l == pytest.approx(4.0 * 537.0, rel=0.01)
    assert seen.use_l_day == pytest.approx(0.1 * 537.0, rel=0.1)
    assert judgement.value is not None
    assert judgement.value < 37.0
    assert judgement.high is not None
    assert judgement.high > 37.0
    assert judgement.at_ms == BEGIN_MS + 21 * DAY_MS


def test_a_carbon_dioxide_cylinder_that_nobody_weighed_shows_nothing(stores: Callable[..., GasStore]) -> None:
    store = stores(probe("co2-pressure", "CO2", topic="co2/p"), ROOM_WARMTH)
    store.read("air", lambda _: 15.0, 9.0)
    store.read("co2-pressure", lambda _: 4986.0, 9.0)
    judgement = store.judged(9.0)["CO2"]
    assert (judgement.value, judgement.finding) == (None, "no judgement")
    assert shown(judgement).raw_kpa == pytest.approx(4986.0)
    assert any("weigh it" in remark for remark in shown(judgement).remarks)


def test_a_carbon_dioxide_cylinder_without_liquid_is_nearly_empty(stores: Callable[..., GasStore]) -> None:
    store = stores(probe("co2-pressure", "CO2", topic="co2/p"), ROOM_WARMTH)
    store.read("air", lambda _: 15.0, 1.0)
    store.read("co2-pressure", lambda _: 700.0, 1.0)
    store.write(0.0, "measurement", "CO2", quantity="weight", value=15.0, content_kg=1.0)
    judgement = store.judged(1.0)["CO2"]
    assert shown(judgement).basis == "pressure"
    assert judgement.value == 0.0
    assert any("no liquid is left" in remark for remark in shown(judgement).remarks)


def test_a_struck_weighing_does_not_count(stores: Callable[..., GasStore]) -> None:
    store = stores()
    wrong = store.write(0.0, "measurement", "CO2", quantity="weight", value=20.0, content_kg=6.0)
    assert shown(store.judged(1.0)["CO2"]).content_kg == pytest.approx(6.0)
    strike(store.store, wrong.id, "Ana", "wrong cylinder", BEGIN_MS + DAY_MS)
    assert shown(store.judged(1.0)["CO2"]).content_kg is None


def test_a_cylinder_of_which_nothing_was_read(stores: Callable[..., GasStore]) -> None:
    judgement = stores().judged(0.0)["N2"]
    assert (judgement.value, judgement.finding) == (None, "no judgement")
    assert any("nothing was read" in remark for remark in shown(judgement).remarks)


def test_a_gauge_that_has_only_begun_is_not_asked_for(stores: Callable[..., GasStore]) -> None:
    (remark,) = shown(stores(GAUGE).judged(0.0)["N2"]).remarks
    assert "none of its gauge has been taken yet" in remark


def test_details_of_other_judgements_are_none_of_a_cylinder() -> None:
    assert cylinder_shown(Judgement("K1", "leak_rate", 0, 0.0, details={"gas": "argon"})) is None
