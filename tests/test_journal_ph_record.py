"""The calibrations of a pH probe: entries as lines, what the scale takes of them, the uncertainty of a pH with time."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.journal.entry import Draft
from ingest.journal.kinds import parse_stored_body
from ingest.journal.kinds.calibration import (
    CALIBRATION,
    CalibrationBody,
    CalibrationPoint,
    Point,
    correction_of,
    scale_correction,
)
from ingest.journal.ph_calibration import PhCalibration, nernst_mv, shown_as_mv
from ingest.journal.ph_record import PhCalibrated, PhRecord

_DAY_MS = 86_400_000
CELSIUS = st.floats(5.0, 35.0)
SLOPES = st.floats(86.0, 104.0)
OFFSETS = st.floats(-25.0, 25.0)


def a_line(slope_percent: float, offset_mv: float, celsius: float = 20.0) -> PhCalibration:
    return PhCalibration(celsius, -slope_percent / 100.0 * nernst_mv(celsius), offset_mv)


def shown_by(line: PhCalibration, ph: float) -> float:
    """What an ideal meter shows for a probe's voltage at a pH."""
    return 7.0 - line.mv_of(ph) / nernst_mv(line.temperature_c)


def a_body(line: PhCalibration, places: tuple[float, ...], *, in_mv: bool) -> CalibrationBody:
    points = []
    for ph in places:
        shown = shown_by(line, ph)
        points.append(
            CalibrationPoint(truth=ph, mv=line.mv_of(ph))
            if in_mv
            else CalibrationPoint(truth=ph, shown=shown, measured=shown)
        )
    return CalibrationBody(probe="k1-ph", points=tuple(points), unit="pH", temperature_c=line.temperature_c)


@given(SLOPES, OFFSETS, CELSIUS, st.booleans(), st.sampled_from([(7.0, 4.0), (4.0, 7.0, 10.0), (3.56, 6.87)]))
def test_mv_and_shown_ph_give_the_line_of_the_probe(
    slope: float, offset: float, celsius: float, in_mv: bool, places: tuple[float, ...]
) -> None:
    found = a_body(a_line(slope, offset, celsius), places, in_mv=in_mv).ph_line
    assert found is not None
    assert found.slope_percent == pytest.approx(slope, abs=1e-6)
    assert found.offset_mv == pytest.approx(offset, abs=1e-6)


@given(SLOPES, OFFSETS, CELSIUS, st.floats(2.8, 4.2), st.sampled_from([(7.0, 4.0), (4.0, 7.0, 10.0)]))
def test_the_correction_makes_the_true_ph_of_what_was_shown(
    slope: float, offset: float, celsius: float, ph: float, places: tuple[float, ...]
) -> None:
    line = a_line(slope, offset, celsius)
    body = a_body(line, places, in_mv=False)
    measured = [Point(shown_by(line, place), place) for place in places]
    made = scale_correction(body, measured, 0.01, "pH")
    assert made is not None
    assert made.gain * shown_by(line, ph) + made.offset == pytest.approx(ph, abs=1e-9)


def test_mv_alone_correct_nothing() -> None:
    assert scale_correction(a_body(a_line(98.0, 2.0), (7.0, 4.0), in_mv=True), [], 0.01, "pH") is None


def test_an_entry_of_a_former_version_counts_as_it_did() -> None:
    former = '{"probe":"k1-ph","points":[{"truth":7.0,"shown":6.93},{"truth":4.0,"shown":4.05}],"unit":"pH"}'
    body = parse_stored_body("calibration", former)
    assert isinstance(body, CalibrationBody)
    assert body.ph_line is None
    assert CALIBRATION.problems(Draft("calibration", 0, "Ana", body, "K1")) == []
    points = [Point(6.93, 7.0), Point(4.05, 4.0)]
    assert scale_correction(body, points, 0.01, "pH") == correction_of(points, 0.01, "pH")
    assert CALIBRATION.words(body, None) == "k1-ph: 6.93 is 7 pH and 4.05 is 4 pH"


@pytest.mark.parametrize(
    ("points", "celsius", "key", "why"),
    [
        ([{"truth": 7.0}], 20.0, "points", "each needs"),
        ([{"truth": 7.0, "shown": 7.0}, {"truth": 4.0, "mv": 170.0}], 20.0, "points", "for each point, or for none"),
        ([{"truth": 7.0, "mv": 0.0}], 20.0, "points", "two buffers"),
        ([{"truth": 7.0, "mv": 0.0}, {"truth": 4.0, "mv": 170.0}], None, "temperature_c", "depends on it"),
        ([{"truth": 7.0, "mv": 170.0}, {"truth": 4.0, "mv": 0.0}], 20.0, "points", "swapped"),
        ([{"truth": 7.0, "mv": 0.0}, {"truth": 4.0, "mv": 130.0}], 20.0, "despite_grade", "not to be used"),
        ([{"truth": 7.0, "mv": 0.0}, {"truth": 4.0, "mv": 20.0}], 20.0, "points", "no pH probe has a slope"),
        ([{"truth": 7.0, "mv": 0.0}, {"truth": 6.9, "mv": 6.0}], 20.0, "points", "apart"),
        (
            [{"truth": 7.0, "shown": 7.0, "measured": 7.0}, {"truth": 4.0, "shown": 4.0}],
            20.0,
            "points",
            "for each buffer",
        ),
    ],
)
def test_what_is_no_calibration_of_a_ph_probe_is_named(
    points: list[dict[str, Any]], celsius: float | None, key: str, why: str
) -> None:
    body = CalibrationBody(
        probe="k1-ph",
        points=tuple(CalibrationPoint(**point) for point in points),
        unit="pH",
        temperature_c=celsius,
    )
    (problem,) = CALIBRATION.problems(Draft("calibration", 0, "Ana", body, "K1"))
    assert problem.key == key
    assert why in problem.allowed


def test_a_person_who_insists_may_write_a_dead_probe_down_but_not_nonsense() -> None:
    for mv, problems in ((130.0, 0), (20.0, 1)):
        body = CalibrationBody(
            probe="k1-ph",
            points=(CalibrationPoint(truth=7.0, mv=0.0), CalibrationPoint(truth=4.0, mv=mv)),
            unit="pH",
            temperature_c=20.0,
            despite_grade=True,
        )
        assert len(CALIBRATION.problems(Draft("calibration", 0, "Ana", body, "K1"))) == problems


def test_the_uncertainty_begins_with_that_of_the_line_and_grows_by_the_usual_drift() -> None:
    """0.05 in 30 days over the root of 3: after 30 days 0.0289 beside the line's own."""
    line = a_line(98.0, 2.0)
    record = PhRecord([PhCalibrated(0, line)])
    fresh, later = record.u_ph(3.4, 0), record.u_ph(3.4, 30 * _DAY_MS)
    assert fresh == pytest.approx(line.u_at(3.4))
    assert later == pytest.approx((line.u_at(3.4) ** 2 + (0.05**2) / 3) ** 0.5)
    assert record.u_ph(3.4, -1) is None


@given(SLOPES, OFFSETS, SLOPES, OFFSETS, st.integers(0, 400), st.floats(2.8, 4.2))
def test_a_probe_that_moved_more_is_trusted_less(
    slope: float, offset: float, later_slope: float, later_offset: float, days: int, ph: float
) -> None:
    first, second = (
        PhCalibrated(0, a_line(slope, offset)),
        PhCalibrated(60 * _DAY_MS, a_line(later_slope, later_offset)),
    )
    record, steady = PhRecord([second, first]), PhRecord([PhCalibrated(0, second.line), second])
    drift = record.drift(60 * _DAY_MS)
    assert drift is not None
    at_ms = (60 + days) * _DAY_MS
    moved, stood = record.u_ph(ph, at_ms), steady.u_ph(ph, at_ms)
    assert moved is not None
    assert stood is not None
    assert moved >= stood
    assert moved >= abs(drift.ph_per_30_days) * days / 30.0 / 3.0**0.5
    assert record.u_ph(ph, at_ms + _DAY_MS) > moved  # type: ignore[operator]


def test_two_calibrations_of_a_few_days_say_nothing_of_a_drift() -> None:
    record = PhRecord([PhCalibrated(0, a_line(98.0, 2.0)), PhCalibrated(2 * _DAY_MS, a_line(97.0, -2.0))])
    alone = PhRecord([PhCalibrated(2 * _DAY_MS, a_line(97.0, -2.0))])
    assert record.u_ph(3.4, 32 * _DAY_MS) == alone.u_ph(3.4, 32 * _DAY_MS)


def test_voltages_and_ph_do_not_compare() -> None:
    """A meter that corrects its electrode shows a good line, however worn the electrode is."""
    in_mv, shown = PhCalibrated(0, a_line(90.0, 5.0), in_mv=True), PhCalibrated(30 * _DAY_MS, a_line(99.0, 0.0))
    assert PhRecord([in_mv, shown]).drift(60 * _DAY_MS) is None
    later = PhCalibrated(60 * _DAY_MS, a_line(89.0, 6.0), in_mv=True)
    drift = PhRecord([in_mv, shown, later]).drift(60 * _DAY_MS)
    assert drift is not None
    assert drift.days == 60.0
    assert drift.slope_percent == pytest.approx(-1.0)


def test_one_buffer_leaves_the_slope_open_and_a_dead_probe_counts_as_none() -> None:
    """0.02 and 3.6 x 0.05 over the root of 3 away from pH 7: 0.106."""
    zero = PhRecord([PhCalibrated(0, None, 7.0)])
    assert zero.u_ph(3.4, 0) == pytest.approx(0.106, abs=1e-3)
    assert PhRecord([PhCalibrated(0, None)]).u_ph(3.4, 0) == 0.02
    assert PhRecord([PhCalibrated(0, a_line(70.0, 0.0))]).u_ph(3.4, 0) is None


def test_shown_ph_and_voltage_are_one_thing() -> None:
    assert shown_as_mv(shown_by(a_line(95.0, 12.0), 4.0), 20.0) == pytest.approx(a_line(95.0, 12.0).mv_of(4.0))
