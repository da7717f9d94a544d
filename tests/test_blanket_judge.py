"""From the store to the gas over the wine: which readings the detector is given, when, and what its answer becomes."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from a_gas_cellar import BEGIN_MS, DAY, HOUR, MINUTE, GasCellar
from cellar_text import keg, probe, temperature
from pytest import approx
from recorded_gas import COMPENSATED, restarted, shown, times

from alerts.blanket.details import blanket_shown
from ingest.reading import Quality, Reason, quality_code
from ingest.store.readings.block import Arrays
from ingest.store.readings.bulk_import import BulkImport, Piece

STUCK = quality_code(Quality.UNCERTAIN, Reason.STUCK)
BACKLOG = quality_code(Quality.UNCERTAIN, Reason.BACKLOG)


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
