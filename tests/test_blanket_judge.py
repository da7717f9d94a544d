"""From the store to the gas over the wine: what the detector is given, when, and what its answer becomes."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from a_gas_cellar import BEGIN_MS, DAY, HOUR, MINUTE, USUAL, GasCellar, Recorder
from cellar_text import carboy, keg, limit, probe, table, temperature
from pytest import approx

from alerts.blanket.details import BlanketShown, blanket_shown
from ingest.judgement import Judgement
from ingest.probes.barometer import Barometers
from ingest.probes.binding import barometers
from ingest.probes.file_scale import station_pressure_kpa
from ingest.reading import Quality, Reason, quality_code
from ingest.store.readings.block import Arrays
from ingest.store.readings.bulk_import import BulkImport, Piece
from ingest.store.readings.scales import add_part

STATION = station_pressure_kpa(340.0)
BAROMETER = probe("barometer", "cellar", quantity="barometric_pressure", topic="air/p", unit="kPa")
COMPENSATED = ("K1", "compensated_pressure")
STUCK = quality_code(Quality.UNCERTAIN, Reason.STUCK)
BACKLOG = quality_code(Quality.UNCERTAIN, Reason.BACKLOG)


def times(detector: Recorder) -> list[float]:
    """The minutes after the begin of all points."""
    return [(point.at_ms - BEGIN_MS) // MINUTE for point in detector.points]


def causes(detector: Recorder) -> list[tuple[object, str]]:
    """When episodes began, in hours after the begin, and why."""
    return [((at_ms - BEGIN_MS) / HOUR, cause) for at_ms, cause, _ in detector.episodes]


def shown(rows: dict[tuple[str, str], Judgement]) -> BlanketShown:
    found = blanket_shown(rows[COMPENSATED])
    assert found is not None
    return found


# ---- readings -------------------------------------------------------------------------------------------------------


def test_readings_reach_the_detector_as_minutes_and_its_answer_becomes_rows(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    rows = cellar.rows(HOUR + 10_000)
    (detector,) = cellar.detectors
    assert times(detector) == list(range(60))
    assert rows[COMPENSATED].value == 55.0
    assert rows[COMPENSATED].at_ms == BEGIN_MS + 59 * MINUTE + 10_000
    assert (shown(rows).finding, shown(rows).gas, shown(rows).raw_kpa, shown(rows).temperature_c) == (
        "sound",
        "nitrogen",
        55.0,
        15.0,
    )
    cellar.run(HOUR, HOUR + 2 * MINUTE, kpa=54.0)
    cellar.rows(HOUR + 2 * MINUTE + 10_000)
    assert len(cellar.detectors) == 1
    assert [point.pressure_kpa for point in detector.points[-3:]] == [55.0, 54.0, 54.0]


def test_a_minute_is_fed_as_soon_as_it_is_over_and_once(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 10 * MINUTE, every=10_000)
    cellar.rows(9.5 * MINUTE)
    (detector,) = cellar.detectors
    assert times(detector) == list(range(9))
    cellar.rows(10 * MINUTE)
    assert times(detector) == list(range(9)), "its last readings may not have been committed yet"
    cellar.rows(10 * MINUTE + 6_000)
    cellar.rows(10 * MINUTE + 7_000)
    assert times(detector) == list(range(10))


def test_what_is_not_good_is_left_out(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    for quality in (STUCK, BACKLOG, quality_code(Quality.BAD, Reason.FAULT)):
        cellar.read("k1-pressure", (HOUR + quality * 1000, 12.0), quality=quality)
    cellar.rows(HOUR + 2 * MINUTE)
    (detector,) = cellar.detectors
    assert {point.pressure_kpa for point in detector.points} == {55.0}
    assert {point.pressure_kpa for point in restarted(cellar, HOUR + 2 * MINUTE).points} == {55.0}


def restarted(cellar: GasCellar, at: float) -> Recorder:
    """The detector of a judge that has just started."""
    cellar.rows(at, cellar.new_judge())
    return cellar.detectors[-1]


def test_without_a_temperature_there_is_no_point_and_the_details_say_what_is_missing(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    cellar.read("k1-pressure", *((HOUR + step * MINUTE, 55.0) for step in range(60)))
    rows = cellar.rows(2 * HOUR)
    (detector,) = cellar.detectors
    # It is held for a quarter of an hour.
    assert times(detector)[-1] == 74
    assert shown(rows).missing == "temperature"
    assert times(restarted(cellar, 2 * HOUR))[-1] == 74


def test_before_the_first_minute_is_over_nobody_is_told_to_look_for_readings(tmp_path: Path) -> None:
    first = shown(GasCellar(tmp_path).rows(10_000))
    assert (first.finding, first.missing) == ("no judgement", "pressure")
    assert "judged when it is over" in first.warnings[0]


def test_after_a_gap_the_pressure_is_missing(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    assert shown(cellar.rows(HOUR + 10_000)).missing == ""
    rows = cellar.rows(4 * HOUR)
    assert shown(rows).missing == "pressure"
    assert rows[COMPENSATED].at_ms == BEGIN_MS + 59 * MINUTE + 10_000, "as old as what it rests on"
    cellar.run(4 * HOUR, 4 * HOUR + 5 * MINUTE)
    cellar.rows(4 * HOUR + 6 * MINUTE)
    (detector,) = cellar.detectors
    assert times(detector)[-6:] == [59, 240, 241, 242, 243, 244]


@pytest.mark.parametrize("is_settled", [False, True])
def test_a_restart_gives_the_detector_what_it_was_given(tmp_path: Path, is_settled: bool) -> None:
    cellar = GasCellar(tmp_path)
    for hour in range(8):
        cellar.run(hour * HOUR, (hour + 1) * HOUR, every=20_000, kpa=55.0 - hour)
        cellar.rows((hour + 1) * HOUR + 10_000)
    if is_settled:
        cellar.settle(6 * HOUR)
    (detector,) = cellar.detectors
    again = restarted(cellar, 8 * HOUR + 10_000)
    assert again.points[-360:] == detector.points[-360:]
    # What is older than six hours comes as means over ten minutes, but not around a step.
    assert [point.pressure_kpa for point in again.points[:-360]] == [55.0] * 15 + [54.0] * 24


def test_a_restart_in_the_middle_of_a_minute_goes_on_with_it(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR + 30_000, every=10_000)
    cellar.rows(HOUR + 35_000)
    cellar.read("k1-pressure", (HOUR + 59_000, 48.0))
    cellar.rows(HOUR + MINUTE + 10_000)
    (detector,) = cellar.detectors
    assert detector.points[-1].pressure_kpa == approx((4 * 55.0 + 48.0) / 5)


def test_readings_that_come_late_are_put_where_they_belong(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.run(2 * HOUR, 3 * HOUR)
    cellar.rows(3 * HOUR + 10_000)
    cellar.run(HOUR, 2 * HOUR)
    cellar.rows(3 * HOUR + 20 * MINUTE)
    assert len(cellar.detectors) == 2
    assert times(cellar.detectors[-1]) == list(range(180))


def test_a_temperature_that_comes_after_its_pressures_is_joined_to_them(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    # The network was away for two hours; what was kept comes probe by probe.
    cellar.read("k1-pressure", *((HOUR + step * MINUTE, 55.0) for step in range(120)))
    cellar.rows(3 * HOUR + 10_000)
    cellar.read("k1-temperature", *((HOUR + step * MINUTE, 15.0) for step in range(120)))
    cellar.rows(3 * HOUR + 20 * MINUTE)
    assert times(cellar.detectors[-1]) == list(range(180))


def test_after_the_clock_was_set_back_the_times_that_have_yet_to_come_are_forgotten(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    # The clock runs a day ahead for a while.
    cellar.run(DAY, DAY + 30 * MINUTE, kpa=40.0)
    cellar.rows(DAY + 31 * MINUTE)
    assert cellar.detectors[-1].points[-1].pressure_kpa == 40.0
    cellar.run(HOUR, 2 * HOUR, kpa=50.0)
    rows = cellar.rows(2 * HOUR + 10_000)
    assert times(cellar.detectors[-1]) == list(range(120))
    assert rows[COMPENSATED].value == 50.0


def test_times_that_do_not_rise_are_left_out(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    cellar.read("k1-pressure", (HOUR - 3 * MINUTE, 12.0), (HOUR - 2 * MINUTE + 1, 12.0))
    cellar.run(HOUR, HOUR + 5 * MINUTE)
    cellar.rows(HOUR + 6 * MINUTE)
    (detector,) = cellar.detectors
    assert all(before.at_ms < after.at_ms for before, after in pairwise(detector.points))
    assert {point.pressure_kpa for point in detector.points} == {55.0}


def test_readings_of_the_past_that_are_imported_count(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(5 * DAY, 5 * DAY + HOUR)
    cellar.rows(5 * DAY + HOUR + 10_000)
    times_ms = np.arange(BEGIN_MS + DAY, BEGIN_MS + 2 * DAY, 10 * MINUTE, dtype=np.int64)
    imported = np.full(len(times_ms), quality_code(Quality.GOOD, Reason.IMPORTED), np.uint16)
    importing = BulkImport(cellar.store, [*cellar.series.values()])
    importing.take(
        Piece(cellar.series[name], Arrays(times_ms, np.full(len(times_ms), number), imported))
        for name, number in (("k1-pressure", 60.0), ("k1-temperature", 15.0))
    )
    cellar.rows(5 * DAY + HOUR + 20_000)
    pressures = [point.pressure_kpa for point in cellar.detectors[-1].points]
    assert pressures == [60.0] * 144 + [55.0] * 60


def test_a_judge_that_slept_while_readings_were_settled_reads_them_all(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    cellar.run(HOUR, 3 * HOUR)
    cellar.settle(2 * HOUR)
    cellar.run(3 * HOUR, 4 * HOUR)
    cellar.rows(4 * HOUR + 10_000)
    assert times(cellar.detectors[-1]) == list(range(240))


# ---- the air's pressure ---------------------------------------------------------------------------------------------


def test_a_vented_gauge_without_a_barometer_is_moved_by_the_weather(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    (detector,) = cellar.detectors
    assert detector.facts.weather_moves
    assert detector.facts.station_kpa == approx(STATION)
    assert detector.points[-1].barometer_kpa is None


def test_a_barometer_goes_along_and_a_silent_one_is_held_and_then_done_without(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, BAROMETER)
    cellar.run(0, 6 * HOUR)
    cellar.read("barometer", *((step * MINUTE + 5000, 97.0) for step in [*range(60), *range(300, 360)]))
    cellar.rows(6 * HOUR + 10_000)
    (detector,) = cellar.detectors
    airs = [point.barometer_kpa for point in detector.points]
    assert airs[:60] == [97.0] * 60
    # Until 01:59 it is new enough, for two hours more it is held.
    ends = [at for at, air in enumerate(airs) if air is None]
    assert ends[0] == approx(60 + 15 + 120, abs=2)
    assert ends[-1] == 299
    assert causes(detector) == [(approx(3.25, abs=0.05), "probe changed"), (approx(5.0, abs=0.01), "probe changed")]
    silent, back = (facts for _, _, facts in detector.episodes)
    assert (silent.weather_moves, silent.station_kpa) == (True, 97.0)
    assert not back.weather_moves
    assert back.station_kpa == approx(STATION)


ABSOLUTE = (USUAL[0], probe("k1-pressure", "K1", reference="absolute"), USUAL[2])


def test_an_absolute_sensor_is_not_moved_by_the_weather(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, usual=ABSOLUTE)
    cellar.run(0, HOUR, kpa=150.0)
    cellar.rows(HOUR + 10_000)
    (detector,) = cellar.detectors
    assert not detector.facts.weather_moves
    point = detector.points[-1]
    assert point.pressure_kpa + detector.facts.station_kpa == approx(150.0)


def test_an_absolute_sensor_with_a_barometer_stays_true_while_that_is_silent(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, BAROMETER, usual=ABSOLUTE)
    following = barometers(cellar.cellar, cellar.series)
    assert isinstance(following, Barometers)
    for step in range(60):
        air = 96.0 + 0.02 * step
        row = (cellar.series["barometer"], BEGIN_MS + step * MINUTE + 5000, air, 0)
        cellar.appender.append([row])
        with cellar.store.write() as connection:
            for series, part in following.parts([row]):
                add_part(connection, series, part, row[1])
    cellar.run(0, 3 * HOUR, kpa=150.0)
    cellar.rows(3 * HOUR + 10_000)
    (detector,) = cellar.detectors
    assert detector.episodes == []
    with_air = [point for point in detector.points if point.barometer_kpa is not None]
    without = [point for point in detector.points if point.barometer_kpa is None]
    assert len(with_air) == approx(75, abs=2)
    for point in with_air:
        assert point.pressure_kpa + (point.barometer_kpa or 0.0) == approx(150.0)
    assert {round(point.pressure_kpa, 6) for point in without} == {round(150.0 - STATION, 6)}


def test_the_rooms_temperature_goes_along(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, temperature("air", "cellar", topic="air/t"))
    cellar.run(0, HOUR)
    cellar.read("air", *((step * MINUTE, 11.0) for step in range(30)))
    cellar.rows(HOUR + 10_000)
    rooms = [point.room_c for point in cellar.detectors[0].points]
    assert rooms[:40] == [11.0] * 40
    assert rooms[-1] is None


def test_without_an_altitude_the_barometer_says_the_mean_air_pressure(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, BAROMETER, altitude=None)
    cellar.read("barometer", *((step * MINUTE + 5000, 90.0) for step in range(60)))
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    assert cellar.detectors[0].facts.station_kpa == approx(90.0)


# ---- what people do -------------------------------------------------------------------------------------------------


def test_what_is_known_of_the_wine_and_the_vessel(tmp_path: Path) -> None:
    more = limit(at="K1", quantity="pressure", low="8 kPa", deadband="1 kPa", priority="high")
    cellar = GasCellar(tmp_path, more)
    cellar.run(0, HOUR)
    rows = cellar.rows(HOUR + 10_000)
    facts = cellar.detectors[0].facts
    assert (facts.filling.capacity_l, facts.filling.wine_l, facts.filling.alcohol_percent_vol) == (19.5, 18.0, 12.0)
    assert facts.filling.material == "steel"
    assert facts.gas.name == "nitrogen"
    assert facts.floor_kpa == shown(rows).floor_kpa == 8.0
    assert 0.2 < facts.u_wine_l < 0.4
    assert facts.wine_before == "unknown"


def test_each_act_begins_an_episode_with_what_is_known_then(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 9 * HOUR)
    cellar.write(1 * HOUR, "gas", "K1", act="charged", pressure_kpa=55.0)
    cellar.write(2 * HOUR, "sample", "K1", volume_l=0.1)
    cellar.write(3 * HOUR, "topping", "K1", bought={"number": 1, "size_l": 0.75})
    cellar.write(4 * HOUR, "gas", "K1", act="vented")
    cellar.write(5 * HOUR, "gas", "K1", act="supply opened")
    cellar.write(6 * HOUR, "gas", "K1", act="supply shut")
    cellar.write(7 * HOUR, "addition", "K1", form="other", name="bentonite", amount="a spoon")
    cellar.write(8 * HOUR, "gas", "K1", act="gas changed", gas="argon")
    rows = cellar.rows(9 * HOUR + 10_000)
    (detector,) = cellar.detectors
    assert causes(detector) == [
        (1, "charged"),
        (2, "drawn"),
        (3, "topped"),
        (4, "vented"),
        (5, "charged"),
        (6, "charged"),
        (7, "opened"),
        (8, "charged"),
    ]
    facts = [facts for _, _, facts in detector.episodes]
    assert [each.filling.wine_l for each in facts] == approx([18.0, 17.9, 18.65, 18.65, 18.65, 18.65, 18.65, 18.65])
    assert [each.supply_open for each in facts] == [False, False, False, False, True, False, False, False]
    assert [each.gas.name for each in facts] == ["nitrogen"] * 7 + ["argon"]
    assert (shown(rows).entry_kind, shown(rows).entry_ms) == ("gas", BEGIN_MS + 8 * HOUR)


def test_an_entry_as_it_happens_goes_on_and_one_of_an_earlier_time_begins_again(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    cellar.write(HOUR + 30_000, "gas", "K1", act="charged", pressure_kpa=55.0)
    cellar.run(HOUR, 2 * HOUR)
    cellar.rows(2 * HOUR + 10_000)
    (detector,) = cellar.detectors
    assert causes(detector) == [(approx(1.008, abs=0.001), "charged")]
    assert len(detector.points) == 120
    cellar.write(1.5 * HOUR, "sample", "K1", volume_l=0.1)
    cellar.rows(2 * HOUR + 20_000)
    assert len(cellar.detectors) == 2
    assert [cause for _, cause in causes(cellar.detectors[1])] == ["charged", "drawn"]


def test_a_struck_entry_never_was(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 3 * HOUR)
    drawn = cellar.write(HOUR, "sample", "K1", volume_l=5.0)
    cellar.write(2 * HOUR, "gas", "K1", act="charged", pressure_kpa=55.0)
    cellar.rows(3 * HOUR + 10_000)
    assert [facts.filling.wine_l for _, _, facts in cellar.detectors[0].episodes] == approx([13.0, 13.0])
    cellar.strike(drawn, 3 * HOUR + 20_000)
    cellar.rows(3 * HOUR + 30_000)
    assert [facts.filling.wine_l for _, _, facts in cellar.detectors[1].episodes] == approx([18.0])


def test_a_measured_volume_corrects_the_episode_that_lasts(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 3 * HOUR)
    cellar.write(2 * HOUR, "measurement", "K1", quantity="volume", value=17.2, unit="L", u_value=0.05)
    cellar.rows(3 * HOUR + 10_000)
    (detector,) = cellar.detectors
    assert detector.episodes == []
    assert detector.facts.filling.wine_l == 17.2


def test_an_empty_vessel_has_no_judgement_and_a_new_filling_has_one(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 3 * HOUR)
    cellar.write(HOUR, "vessel-status", "K1", status="emptied")
    assert cellar.rows(2 * HOUR) == {}
    cellar.write(2 * HOUR + 1, "first-filling", "K1", "ries", volume_l=19.0)
    cellar.rows(3 * HOUR + 10_000)
    detector = cellar.detectors[-1]
    assert causes(detector) == [(approx(2.0, abs=0.001), "filled")]
    assert detector.facts.filling.wine_l == 19.0
    assert not [at for at in times(detector) if 60 <= at < 120]


def test_a_racking_ends_one_blanket_and_begins_another(tmp_path: Path) -> None:
    second = (keg("K2", gas="argon"), probe("k2-pressure", "K2", topic="k2/p"))
    cellar = GasCellar(tmp_path, *second, temperature("k2-temperature", "K2", topic="k2/t", mounted="wall"))
    cellar.run(0, 1.5 * HOUR)
    for name, number in (("k2-pressure", 30.0), ("k2-temperature", 14.0)):
        cellar.read(name, *((step * MINUTE, number) for step in range(90)))
    cellar.write(0, "vessel-status", "K2", status="emptied")
    begun = cellar.write(HOUR, "racking", None, sources=[{"vessel": "K1"}], stage="begun")
    assert not [place for place, _ in cellar.rows(1.5 * HOUR)]
    cellar.write(
        2 * HOUR, "racking", None, sources=[{"vessel": "K1"}], targets=[{"vessel": "K2"}], air="open", begun=begun.id
    )
    for name, number in (("k2-pressure", 30.0), ("k2-temperature", 14.0)):
        cellar.read(name, *((step * MINUTE, number) for step in range(90, 240)))
    rows = cellar.rows(4 * HOUR + 10_000)
    assert {place for place, _ in rows} == {"K2"}
    detector = cellar.detectors[-1]
    assert (detector.facts.gas.name, detector.facts.mounted, detector.facts.wine_before) == (
        "argon",
        "wall",
        "from air",
    )
    assert times(detector)[0] == 120


def test_where_much_wine_goes_out_the_gas_begins_again(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, keg("K2"))
    cellar.run(0, 3 * HOUR)
    part = [{"vessel": "K1", "volume_l": 6.0}]
    cellar.write(HOUR, "racking", None, sources=part, targets=[{"vessel": "K2"}], air="closed")
    cellar.write(2 * HOUR, "bottling", "K1", bottles=[{"number": 4, "size_l": 0.75}])
    cellar.rows(3 * HOUR + 10_000)
    (detector,) = cellar.detectors
    assert causes(detector) == [(1, "opened"), (2, "opened")]
    assert [facts.filling.wine_l for _, _, facts in detector.episodes] == approx([12.0, 9.0])


@pytest.mark.parametrize(
    ("air", "weeks", "before"),
    [
        ("open", 0, "from air"),
        ("under gas", 0, "under gas"),
        ("closed", 0, "unknown"),
        ("closed", 4, "under gas"),
        (None, 4, "unknown"),
    ],
)
def test_how_a_wine_was_racked_says_what_gas_it_holds(tmp_path: Path, air: str | None, weeks: int, before: str) -> None:
    second = (keg("K2"), probe("k2-pressure", "K2", topic="k2/p"))
    cellar = GasCellar(tmp_path, *second, temperature("k2-temperature", "K2", topic="k2/t", mounted="wine"))
    at = weeks * 7 * DAY + HOUR
    cellar.write(at, "racking", None, sources=[{"vessel": "K1"}], targets=[{"vessel": "K2"}], air=air)
    for name in ("k2-pressure", "k2-temperature"):
        cellar.read(name, *((at + step * MINUTE, 20.0) for step in range(60)))
    cellar.rows(at + HOUR)
    assert cellar.detectors[-1].facts.wine_before == before


def test_a_wine_that_has_rested_for_weeks_is_resting(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    at = 30 * DAY
    cellar.write(at, "gas", "K1", act="charged", pressure_kpa=55.0)
    cellar.run(at, at + HOUR)
    cellar.rows(at + HOUR + 10_000)
    assert cellar.detectors[-1].facts.wine_before == "resting"


def test_a_racking_that_was_begun_and_forgotten_quiets_a_vessel_for_hours_only(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 9 * HOUR)
    cellar.write(HOUR, "racking", None, sources=[{"vessel": "K1"}], stage="begun")
    assert cellar.rows(2 * HOUR) == {}
    assert COMPENSATED in cellar.rows(8 * HOUR)
    assert causes(cellar.detectors[-1]) == [(7, "opened")]


def test_a_vessel_of_unknown_contents_is_judged_as_nearly_full_and_says_so(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, filled=False)
    cellar.run(0, HOUR)
    rows = cellar.rows(HOUR + 10_000)
    facts = cellar.detectors[0].facts
    assert facts.filling.wine_l == approx(0.93 * 19.5)
    assert facts.u_wine_l > 0.9
    assert shown(rows).missing == "contents"
    assert "not in the journal" in shown(rows).warnings[0]


def test_glass_is_judged_for_what_rises_and_what_has_neither_gas_nor_glass_is_not(tmp_path: Path) -> None:
    vessels = (carboy("C1"), keg("K3", gas=None), USUAL[0])
    probes = [
        probe(f"{id}-p", id, topic=f"{id}/p") + temperature(f"{id}-t", id, topic=f"{id}/t", mounted="wine")
        for id in ("C1", "K3")
    ]
    cellar = GasCellar(tmp_path, *vessels, *probes, usual=(), filled=False)
    for name in ("C1-p", "C1-t", "K3-p", "K3-t"):
        cellar.read(name, *((step * MINUTE, 10.0) for step in range(30)))
    assert {place for place, _ in cellar.rows(HOUR)} == {"C1"}
    # Unless the journal says that gas was put on it.
    cellar.write(20 * MINUTE, "gas", "K3", act="gas changed", gas="argon")
    rows = cellar.rows(HOUR + MINUTE)
    assert {place for place, _ in rows} == {"C1", "K3"}
    argon, carbon_dioxide = (blanket_shown(rows[id, "compensated_pressure"]) for id in ("K3", "C1"))
    assert argon is not None
    assert carbon_dioxide is not None
    assert (argon.gas, argon.floor_kpa) == ("argon", 5.0)
    assert (carbon_dioxide.gas, carbon_dioxide.floor_kpa) == ("carbon dioxide", None)


def test_a_gas_line_that_is_opened_at_the_cylinder_opens_the_vessels_behind_it(tmp_path: Path) -> None:
    cylinder = table("[[cylinder]]", id="N2", gas="nitrogen", water_volume="10 L")
    line = table("[[gas_line]]", id="line", cylinder="N2", vessels=["K1"], regulator="55 kPa", relief="100 kPa")
    cellar = GasCellar(tmp_path, cylinder, line)
    cellar.run(0, 3 * HOUR)
    cellar.write(HOUR, "gas", "N2", act="supply opened")
    assert shown(cellar.rows(2 * HOUR)).supply_open
    cellar.write(2 * HOUR + MINUTE, "gas", "N2", act="supply shut")
    assert not shown(cellar.rows(3 * HOUR)).supply_open
    assert [facts.supply_open for _, _, facts in cellar.detectors[-1].episodes] == [True, False]


# ---- instruments ----------------------------------------------------------------------------------------------------


def test_a_calibration_is_a_change_of_instruments_and_changes_the_values_since(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 2 * HOUR)
    cellar.rows(2 * HOUR + 10_000)
    points = [{"shown": 55.0, "truth": 56.0}]
    cellar.write(HOUR, "calibration", "K1", probe="k1-pressure", unit="kPa", points=points)
    cellar.run(2 * HOUR, 3 * HOUR)
    cellar.rows(3 * HOUR + 10_000)
    detector = cellar.detectors[-1]
    assert causes(detector) == [(approx(1.0, abs=0.01), "probe changed")]
    assert [point.pressure_kpa for point in detector.points] == [55.0] * 60 + [56.0] * 120


def test_a_probe_that_was_replaced_is_a_change_of_instruments(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 2 * HOUR)
    cellar.text(USUAL[0], probe("new-pressure", "K1"), USUAL[2])
    cellar.declare(BEGIN_MS + 2 * HOUR)
    cellar.read("new-pressure", *((2 * HOUR + step * MINUTE, 54.0) for step in range(60)))
    cellar.read("k1-temperature", *((2 * HOUR + step * MINUTE, 15.0) for step in range(60)))
    detector = restarted(cellar, 3 * HOUR + 10_000)
    assert causes(detector) == [(2, "probe changed")]
    assert [point.pressure_kpa for point in detector.points] == [55.0] * 120 + [54.0] * 60


def test_probes_that_changed_places_speak_for_where_they_were(tmp_path: Path) -> None:
    both = [keg(id) + temperature(f"{id}-t", id, topic=f"{id}/t", mounted="wine") for id in ("K1", "K2")]
    pressures = {"K1": 55.0, "K2": 30.0}
    cellar = GasCellar(tmp_path, *both, probe("a", "K1", topic="a"), probe("b", "K2", topic="b"), usual=())
    for name, id in (("a", "K1"), ("b", "K2")):
        cellar.read(name, *((step * MINUTE, pressures[id]) for step in range(120)))
        cellar.read(f"{id}-t", *((step * MINUTE, 15.0) for step in range(240)))
    cellar.text(*both, probe("a", "K2", topic="a"), probe("b", "K1", topic="b"))
    cellar.declare(BEGIN_MS + 2 * HOUR)
    cellar.write(0, "first-filling", "K2", "ries", volume_l=18.0)
    for name, id in (("a", "K2"), ("b", "K1")):
        cellar.read(name, *((2 * HOUR + step * MINUTE, pressures[id]) for step in range(120)))
    judge = cellar.new_judge()
    rows = cellar.rows(4 * HOUR + 10_000, judge)
    assert {id: rows[id, "compensated_pressure"].value for id in pressures} == pressures
    for detector in cellar.detectors[-2:]:
        assert len({point.pressure_kpa for point in detector.points}) == 1
        assert causes(detector) == [(2, "probe changed")]


def test_a_large_cellar_is_built_in_more_than_one_call_and_keeps_what_was_judged(tmp_path: Path) -> None:
    kegs = [
        keg(f"K{n}")
        + probe(f"p{n}", f"K{n}", topic=f"{n}/p")
        + temperature(f"t{n}", f"K{n}", topic=f"{n}/t", mounted="wine")
        for n in range(20)
    ]
    cellar = GasCellar(tmp_path, *kegs, usual=(), filled=False)
    for n in range(20):
        cellar.read(f"p{n}", *((step * MINUTE, 50.0 + n) for step in range(30)))
        cellar.read(f"t{n}", *((step * MINUTE, 15.0) for step in range(30)))
    before = cellar.rows(HOUR)
    assert len({place for place, _ in before}) == 20
    rows = cellar.rows(HOUR + MINUTE, cellar.new_judge(build_s=0.0))
    raw = {f"K{n}": 50.0 + n for n in range(20)}
    for answer in (before, rows):
        found = {place: blanket_shown(row) for (place, name), row in answer.items() if name == "compensated_pressure"}
        assert {place: each.raw_kpa for place, each in found.items() if each is not None} == raw
    assert len(cellar.detectors) == 20 + 8
