"""What a review reads of a vessel: from readings, judgements, the journal and alarms in a store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from a_gas_cellar import BEGIN_MS, GasCellar
from a_mill_lane import MillLaneOnDisk
from a_rested_cellar import DAY_MS, HOUR_MS, NOW_MS, RestedCellar, kpa
from a_store import NOW

from alerts.review import ReviewAsked, free_so2_band, review_charts, vessel_facts, whole_review
from alerts.review.blanket_record import blanket_record
from alerts.review.charts import charts_of
from alerts.review.vessel_facts import VesselFacts
from alerts.review.vessel_read import WEEKS_MS


@pytest.fixture(scope="module")
def rested(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RestedCellar]:
    cellar = RestedCellar(tmp_path_factory.mktemp("rested"))
    yield cellar
    cellar.store.close()


def facts_of(cellar: RestedCellar, vessel: str = "K1") -> VesselFacts:
    with cellar.store.read():
        return vessel_facts(cellar.cellar, cellar.store, vessel, "K2", NOW_MS)


def test_what_is_known_of_the_rested_wine(rested: RestedCellar) -> None:
    facts = facts_of(rested)
    assert (facts.lot, facts.malolactic, facts.gas_name, facts.under_gas) == (
        "rebula-26",
        "prevented",
        "nitrogen",
        True,
    )
    assert facts.since_ms == rested.ms(187)
    assert [seen.clarity for seen in facts.seen] == ["hazy", "clear"]
    assert facts.disturbed == ("racking", rested.ms(187))
    assert {each.limit.quantity for each in facts.due} == {"titration", "pH", "racking"}
    assert (facts.salt, facts.stock) == ("potassium", None)


def test_the_temperature_of_four_weeks_by_hours(rested: RestedCellar) -> None:
    hours = facts_of(rested).temperature
    assert hours is not None
    assert (hours.probe, hours.mounted) == ("k1-temperature", "wall")
    assert len(hours.from_ms) == WEEKS_MS // HOUR_MS
    assert hours.from_ms[-1] == NOW_MS - HOUR_MS
    assert 11.5 < hours.mean.min() < hours.mean.max() < 12.3
    # Of a vessel without a thermometer that of the room counts.
    other = facts_of(rested, "C1").temperature
    assert other is None or other.mounted == "air"


def test_the_leak_of_august_by_minutes(rested: RestedCellar) -> None:
    """The gauge falls by 60 kPa in half a day, from 50: it is under 20 kPa for the last 6 h, under 5 kPa for 3 h."""
    past = facts_of(rested).gas
    assert past is not None
    assert past.pressure is not None
    assert (past.air_floor_kpa, past.care_floor_kpa, past.from_ms) == (5.0, 20.0, rested.ms(187))
    # Hours that cross a floor came by minutes, all others by the hour.
    assert set(past.pressure.span_ms.tolist()) == {600_000, HOUR_MS}
    assert (past.pressure.from_ms[1:] > past.pressure.from_ms[:-1]).all()
    record = blanket_record(past)
    under_air = sum(_kpa_at(at) < 5.0 for at in _times()) / 6.0
    under_care = sum(_kpa_at(at) < 20.0 for at in _times()) / 6.0
    # A reading stands until the next one.
    assert record.under_air_h == pytest.approx(under_air, abs=0.2)
    assert record.under_care_h == pytest.approx(under_care, abs=0.2)
    assert record.observed_h == pytest.approx(record.hours, abs=1.0)
    assert record.lowest_kpa == 0.2
    assert record.findings_h["fast leak"] == pytest.approx(12.0, abs=1.0)
    # 2 to 4 mL a minute at 0 °C for half a day.
    assert record.leaked_low_l == pytest.approx(1.52, abs=0.15)
    assert record.leaked_high_l == pytest.approx(3.04, abs=0.3)


def _times() -> range:
    return range(NOW_MS - 105 * DAY_MS, NOW_MS - 103 * DAY_MS, 600_000)


def _kpa_at(at_ms: int) -> float:
    return kpa((NOW_MS - at_ms) / DAY_MS)


def test_charts_of_what_there_is(rested: RestedCellar) -> None:
    facts = facts_of(rested)
    assert charts_of(facts) == ("temperature", "pressure", "free_so2")
    with rested.store.read():
        band = free_so2_band(rested.cellar, rested.store, facts)
    temperature, pressure, free_so2 = review_charts(facts, band)
    assert temperature.until_ms - temperature.from_ms == WEEKS_MS
    raw, compensated = pressure.panes[0].lines
    # The deepest minute is in the chart of half a year.
    assert min(value for value in raw.values if value is not None) == 0.2
    assert (raw.style, compensated.style) == ("raw", "compensated")
    assert [limit.value for limit in pressure.panes[0].limits] == [5.0, 20.0]
    (titrated,) = free_so2.panes[0].points
    assert titrated.values == (34.0, 30.5, 28.0, 25.5, 23.5, 21.5)
    assert titrated.errors == (3.0,) * 6


def test_a_vessel_of_which_little_is_known(rested: RestedCellar) -> None:
    facts = facts_of(rested, "K2")
    assert facts.contents.empty
    # The room's thermometer stands in.
    assert charts_of(facts) == ("temperature",)
    assert [chart.panes[0].title for chart in review_charts(facts, [])] == ["Temperature of the air, °C"]


def test_measurements_of_the_wine(tmp_path: Path) -> None:
    cellar = RestedCellar(tmp_path, readings=False)
    cellar.write(200, "measurement", "C1", quantity="sugar", value=2.4)
    cellar.write(3, "measurement", "K1", quantity="Carbon dioxide", value=0.9, unit="g/L")
    facts = facts_of(cellar)
    # Found in C1, where the lot lay then.
    assert facts.sugar_g_l == (2.4, cellar.ms(200))
    assert facts.co2_g_l == (0.9, cellar.ms(3))
    cellar.write(2, "measurement", None, "rebula-26", quantity="sugar", value=1.1)
    cellar.write(1, "measurement", "K1", quantity="carbon dioxide", value=45.0, unit="mg/100 mL")
    facts = facts_of(cellar)
    assert facts.sugar_g_l == (1.1, cellar.ms(2))
    assert facts.co2_g_l == (0.9, cellar.ms(3)), "in another unit it is not taken"
    cellar.store.close()


def test_the_gauge_as_people_read_it_since_the_wine_came(tmp_path: Path) -> None:
    cellar = RestedCellar(tmp_path, readings=False)
    for days, kpa_read in ((200, 30.0), (3, 52.0), (1, 49.5)):
        cellar.write(days, "measurement", "K1", quantity="pressure", value=kpa_read)
    facts = facts_of(cellar)
    assert facts.gas is not None and facts.gas.by_hand == ((cellar.ms(3), 52.0), (cellar.ms(1), 49.5))
    cellar.store.close()


def test_what_happened_to_the_wine_before_it_came_counts_for_nothing(tmp_path: Path) -> None:
    cellar = RestedCellar(tmp_path, readings=False)
    cellar.write(200, "inspection", "C1", clarity="cloudy")
    cellar.write(188, "inspection", "K1", film=True)
    assert [seen.clarity for seen in facts_of(cellar).seen] == ["hazy", "clear"]
    cellar.store.close()


def test_a_lot_in_two_vessels_is_due_in_each_by_itself(tmp_path: Path) -> None:
    cellar = RestedCellar(tmp_path, readings=False)
    cellar.write(
        10,
        "racking",
        sources=[{"vessel": "K1", "volume_l": 8.0}],
        targets=[{"vessel": "K2", "volume_l": 8.0}],
        air="under gas",
    )

    def racking_due_ms(vessel: str) -> int:
        return next(each.fact.due_ms for each in facts_of(cellar, vessel).due if each.limit.quantity == "racking")

    assert racking_due_ms("K1") == cellar.ms(187 - 183)
    assert racking_due_ms("K2") == cellar.ms(10 - 183)
    cellar.store.close()


def test_what_is_drawn_off_stirs_nothing(tmp_path: Path) -> None:
    cellar = RestedCellar(tmp_path, readings=False)
    cellar.write(4, "first-filling", "C1", "rebula-26", volume_l=20.0)
    cellar.write(3, "topping", "C1", source="K1", volume_l=0.5)
    assert facts_of(cellar).disturbed == ("racking", cellar.ms(187))
    cellar.write(2, "addition", "K1", form="metabisulfite", salt="potassium", mass_g=0.2, so2_g=0.115)
    assert facts_of(cellar).disturbed == ("addition", cellar.ms(2))
    cellar.store.close()


def test_alarms_of_the_vessels_and_their_gas(tmp_path: Path) -> None:
    """In Mill Lane K2 loses gas, and an alarm stands; nothing of it is said of K1 alone."""
    mill_lane = MillLaneOnDisk(tmp_path)
    mill_lane.turn(NOW + 120_000)
    with mill_lane.store.read():
        of_k2 = vessel_facts(mill_lane.cellar, mill_lane.store, "K2", None, NOW + 121_000)
        of_k1 = vessel_facts(mill_lane.cellar, mill_lane.store, "K1", None, NOW + 121_000)
        into_k2 = vessel_facts(mill_lane.cellar, mill_lane.store, "K1", "K2", NOW + 121_000)
    places = {alarm.at for alarm in of_k2.alarms if alarm.limit is not None and alarm.limit.kind != "due"}
    assert "K2" in places
    assert "K2" not in {alarm.at for alarm in of_k1.alarms if alarm.limit is not None and alarm.limit.kind != "due"}
    assert {alarm.at for alarm in into_k2.alarms} >= places
    assert all(of_k2.alarm_lines[alarm.key] for alarm in of_k2.alarms)
    mill_lane.store.close()


def test_every_vessel_of_a_demo_can_be_reviewed(tmp_path: Path) -> None:
    mill_lane = MillLaneOnDisk(tmp_path)
    for vessel in mill_lane.cellar.vessel:
        for purpose in ("racking", "bottling"):
            with mill_lane.store.read():
                asked = ReviewAsked(vessel=vessel.id, purpose=purpose)
                found = whole_review(mill_lane.cellar, mill_lane.store, asked, "cellar.toml", NOW)
            assert found.review.sections
    mill_lane.store.close()


def test_a_vessel_that_was_never_written_down(tmp_path: Path) -> None:
    gas = GasCellar(tmp_path, filled=False)
    with gas.store.read():
        found = whole_review(gas.cellar, gas.store, ReviewAsked(vessel="K1"), "cellar.toml", BEGIN_MS + DAY_MS)
    verdicts = {section.name: section.verdict for section in found.review.sections}
    assert {verdicts[name] for name in ("rest", "clarity", "temperature", "blanket", "so2", "dose")} == {"not known"}
    gas.store.close()
