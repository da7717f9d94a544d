"""Calibration of a pH probe: worked examples, grades, slips that are named, and what must hold of any probe."""

from __future__ import annotations

from itertools import permutations
from math import isfinite, sqrt
from statistics import fmean, stdev

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from ingest.journal.ph_buffers import find_buffer
from ingest.journal.ph_calibration import (
    PhCalibration,
    PhCalibrationRefused,
    PhGrade,
    PhPoint,
    calibrated,
    nernst_mv,
    shown_as_mv,
)
from ingest.journal.ph_drift import aged_u_ph, ph_drift

# Sound probes, in buffers of 4.01, 7.00 and 10.01.
SLOPES = st.floats(90.5, 104.5)
OFFSETS = st.floats(-29.0, 29.0)
CELSIUS = st.floats(5.0, 40.0)


def _points(slope_percent: float, offset_mv: float, celsius: float, *places: float) -> list[PhPoint]:
    slope = -slope_percent / 100.0 * nernst_mv(celsius)
    return [PhPoint(place, offset_mv + slope * (place - 7.0)) for place in places]


@pytest.mark.parametrize(
    ("celsius", "mv"), [(0, 54.1988), (12, 56.5799), (20, 58.1672), (25, 59.1593), (37.0, 61.5404), (50, 64.1199)]
)
def test_the_nernst_slope(celsius: float, mv: float) -> None:
    """R T ln 10 / F with R = 8.314462618 J/(mol K), F = 96485.33212 C/mol."""
    assert nernst_mv(celsius) == pytest.approx(mv, abs=6e-5)
    assert nernst_mv(celsius) == pytest.approx(1000.0 * 8.314462618 * (celsius + 273.15) * 2.302585093 / 96485.33212)


def test_a_worked_example_at_25_degrees() -> None:
    """s = 174.5 / -2.995 = -58.2638 mV; 98.486 %; E7 = -6.0 mV; zero at 6.8970; 200 mV: 3.4644, at 12 °C 3.3032."""
    found = calibrated([PhPoint(7.000, -6.0), PhPoint(4.005, 168.5)], 25.0)
    assert found.slope_mv == pytest.approx(-58.2638, abs=1e-4)
    assert found.slope_percent == pytest.approx(98.486, abs=1e-3)
    assert found.offset_mv == pytest.approx(-6.0)
    assert found.zero_point_ph == pytest.approx(6.8970, abs=1e-4)
    assert found.ph_of(200.0) == pytest.approx(3.4644, abs=1e-4)
    assert found.ph_of(200.0, 12.0) == pytest.approx(3.3032, abs=1e-4)
    assert (found.grade, found.warnings) == (PhGrade.GOOD, ())


def test_a_worked_example_at_12_degrees_and_what_the_nominal_values_would_make_of_it() -> None:
    """With the buffers' pH at 12 °C 98.434 % and pH 3.5126; with 7.00 and 4.01 100.488 % and 3.5351."""
    buffers = find_buffer("7.00", "technical").ph_at(12.0), find_buffer("phthalate", "nist").ph_at(12.0)
    found = calibrated([PhPoint(buffers[0], -2.0), PhPoint(buffers[1], 168.0)], 12.0)
    assert found.slope_percent == pytest.approx(98.434, abs=1e-3)
    assert found.offset_mv == pytest.approx(0.774, abs=1e-3)
    assert found.ph_of(195.0) == pytest.approx(3.5126, abs=1e-4)
    nominal = calibrated([PhPoint(7.00, -2.0), PhPoint(4.01, 168.0)], 12.0)
    assert nominal.slope_percent == pytest.approx(100.488, abs=1e-3)
    assert nominal.ph_of(195.0) == pytest.approx(3.5351, abs=1e-4)


@pytest.mark.parametrize(
    ("celsius", "shown"), [(0, 3.793), (5, 3.735), (10, 3.676), (15, 3.617), (20, 3.559), (30, 3.441), (40, 3.324)]
)
def test_what_a_slope_that_does_not_follow_temperature_makes_of_3_50(celsius: float, shown: float) -> None:
    """An ideal probe that was calibrated at 25 °C, in a wine of pH 3.50, read without compensation."""
    ideal = PhCalibration(25.0, -nernst_mv(25.0), 0.0)
    mv = PhCalibration(celsius, -nernst_mv(celsius), 0.0).mv_of(3.50)
    assert ideal.ph_of(mv) == pytest.approx(shown, abs=6e-4)
    assert ideal.ph_of(mv, celsius) == pytest.approx(3.50)


@given(slope=SLOPES, offset=OFFSETS, celsius=CELSIUS, more=st.booleans(), ph=st.floats(2.5, 4.5))
def test_a_line_is_found_again(slope: float, offset: float, celsius: float, more: bool, ph: float) -> None:
    places = (4.01, 7.0, 10.01) if more else (4.01, 7.0)
    found = calibrated(_points(slope, offset, celsius, *places), celsius)
    assert found.slope_percent == pytest.approx(slope)
    assert found.offset_mv == pytest.approx(offset, abs=1e-6)
    assert found.ph_of(found.mv_of(ph)) == pytest.approx(ph)
    assert found.grade in (PhGrade.GOOD, PhGrade.USABLE)
    assert max(map(abs, found.residuals_ph)) < 1e-9
    assert 0.0 < found.u_at(ph, celsius + 5.0) < 0.1


@given(celsius=CELSIUS, slope=SLOPES, offset=OFFSETS, shown=st.floats(2.5, 4.5))
def test_a_shown_ph_is_calibrated_likewise(celsius: float, slope: float, offset: float, shown: float) -> None:
    """A meter that takes its probe for ideal: what it shows, corrected, is the pH."""
    real = PhCalibration(celsius, -slope / 100.0 * nernst_mv(celsius), offset)
    ideal = PhCalibration(celsius, -nernst_mv(celsius), 0.0)
    points = [PhPoint(ph, shown_as_mv(ideal.ph_of(real.mv_of(ph)), celsius)) for ph in (4.01, 7.0)]
    found = calibrated(points, celsius)
    assert found.ph_of(shown_as_mv(ideal.ph_of(real.mv_of(shown)), celsius)) == pytest.approx(shown)


@pytest.mark.parametrize(
    ("slope", "offset", "grade", "word"),
    [
        (95.0, 15.0, PhGrade.GOOD, None),
        (102.0, -15.0, PhGrade.GOOD, None),
        (94.9, 0.0, PhGrade.USABLE, "are usable"),
        (98.0, 15.1, PhGrade.USABLE, "are usable"),
        (105.0, 0.0, PhGrade.USABLE, "are usable"),
        (90.0, -30.0, PhGrade.USABLE, "are usable"),
        (89.9, 0.0, PhGrade.WORN, "worn"),
        (98.0, 30.1, PhGrade.WORN, "worn"),
        (85.0, 60.0, PhGrade.WORN, "worn"),
        (84.9, 0.0, PhGrade.REFUSED, "not to be used"),
        (105.1, 0.0, PhGrade.REFUSED, "not to be used"),
        (98.0, -60.1, PhGrade.REFUSED, "not to be used"),
        (20.0, 0.0, PhGrade.REFUSED, "not to be used"),
    ],
)
def test_grades(slope: float, offset: float, grade: PhGrade, word: str | None) -> None:
    """95 to 102 % (makers), 90 to 105 % and 30 mV (USP <791>), 85 to 105 % (field practice)."""
    # A hair inside, since the line is worked out from the points.
    nearer = 1.0 + 1e-12 if slope < 100.0 else 1.0 - 1e-12
    found = calibrated(_points(slope * nearer, offset * (1.0 - 1e-12), 25.0, 4.01, 7.0), 25.0)
    assert found.grade is grade
    assert (word is None) == (found.warnings == ())
    assert word is None or word in found.warnings[0]


def test_more_slope_than_nernst_has_is_doubted() -> None:
    found = calibrated(_points(103.0, 0.0, 25.0, 4.01, 7.0), 25.0)
    assert "a buffer's pH or the temperature is wrong" in found.warnings[1]


def test_a_third_buffer_that_has_gone_off() -> None:
    """10.01 that has taken up carbon dioxide has 9.85."""
    points = _points(98.0, 0.0, 25.0, 4.01, 7.0, 9.80)
    found = calibrated([*points[:2], PhPoint(10.01, points[2].mv)], 25.0)
    assert "the buffers are not on one line: pH 7.00 is 0.07 off" in found.warnings[-1]
    assert found.u_at(3.4) > 3.0 * calibrated(_points(98.0, 0.0, 25.0, 4.01, 7.0, 10.01), 25.0).u_at(3.4)


# ---- uncertainty ----------------------------------------------------------------------------------------------------


def test_the_uncertainty_near_a_wine() -> None:
    """Two buffers around it: 0.02 to 0.03 at k = 2 by IUPAC 2002; more beside them, and more in a cold wine."""
    found = calibrated(_points(98.0, 0.0, 25.0, 4.01, 7.0), 25.0)
    bracketed = calibrated(_points(98.0, 0.0, 25.0, 1.679, 4.005), 25.0, 0.005)
    assert 2.0 * bracketed.u_at(3.4) == pytest.approx(0.025, abs=0.005)
    assert found.u_at(2.9) > found.u_at(3.4) > found.u_at(5.5)
    assert found.u_at(3.4, 12.0) > found.u_at(3.4, 25.0) == found.u_at(3.4)
    assert found.value_of(found.mv_of(3.4)) == pytest.approx((3.4, found.u_at(3.4)))


def test_the_uncertainty_of_the_line_is_that_of_many_calibrations() -> None:
    """Buffers off by a fixed pattern of errors with standard deviation 0.02, everything else exact."""
    sigma, errors = 0.02, (-1.0, 1.0)
    shown = [
        calibrated(
            [
                PhPoint(4.01, _points(98.0, 0.0, 25.0, 4.01 + sigma * first)[0].mv),
                PhPoint(7.0, _points(98.0, 0.0, 25.0, 7.0 + sigma * second)[0].mv),
            ],
            25.0,
        ).ph_of(_points(98.0, 0.0, 25.0, 3.0)[0].mv)
        for first in errors
        for second in errors
    ]
    spread = sqrt(fmean((value - 3.0) ** 2 for value in shown))
    line = sqrt(0.5 + (3.0 - 5.505) ** 2 / (2.0 * 1.495**2)) * sigma
    assert spread == pytest.approx(line, rel=0.01)
    found = calibrated(_points(98.0, 0.0, 25.0, 4.01, 7.0), 25.0, sigma)
    assert found.u_at(3.0) == pytest.approx(sqrt(line**2 + 0.01**2), rel=0.06)
    assert stdev(shown) > 0.0


# ---- slips ----------------------------------------------------------------------------------------------------------


def _refusal(points: list[PhPoint], celsius: float = 25.0) -> PhCalibrationRefused:
    with pytest.raises(PhCalibrationRefused) as refused:
        calibrated(points, celsius)
    return refused.value


@given(slope=SLOPES, offset=OFFSETS, celsius=CELSIUS)
def test_two_swapped_buffers_are_named(slope: float, offset: float, celsius: float) -> None:
    low, high = _points(slope, offset, celsius, 4.01, 7.0)
    refused = _refusal([PhPoint(7.0, low.mv), PhPoint(4.01, high.mv)], celsius)
    assert refused.field == "buffers"
    assert "the buffers are swapped: what was read in 7 belongs to 4.01" in str(refused)


@given(
    slope=SLOPES,
    offset=OFFSETS,
    celsius=CELSIUS,
    order=st.sampled_from([order for order in permutations((4.01, 7.0, 10.01)) if order != (4.01, 7.0, 10.01)]),
)
def test_three_buffers_in_any_wrong_order(
    slope: float, offset: float, celsius: float, order: tuple[float, ...]
) -> None:
    points = _points(slope, offset, celsius, 4.01, 7.0, 10.01)
    refused = _refusal([PhPoint(name, point.mv) for name, point in zip(order, points, strict=True)], celsius)
    assert str(refused).startswith("the buffers are swapped: ")
    for name, point in zip(order, points, strict=True):
        assert (f"what was read in {name:g} belongs to {point.ph:g}" in str(refused)) is (name != point.ph)


@given(slope=SLOPES, offset=OFFSETS, celsius=CELSIUS)
def test_a_voltage_with_the_wrong_sign(slope: float, offset: float, celsius: float) -> None:
    refused = _refusal([PhPoint(point.ph, -point.mv) for point in _points(slope, offset, celsius, 4.01, 7.0)], celsius)
    assert refused.field == "readings"
    assert "the voltage has the wrong sign" in str(refused)


def test_around_ph_7_it_may_be_either() -> None:
    refused = _refusal([PhPoint(4.01, -172.0), PhPoint(10.01, 172.0)])
    assert "the buffers are swapped" in str(refused)
    assert "or the voltage has the wrong sign" in str(refused)


@pytest.mark.parametrize(
    ("points", "celsius", "field", "told"),
    [
        ([(7.0, 0.0)], 25.0, "buffers", "2 to 5 buffers, not 1"),
        ([(7.0, 0.0)] * 6, 25.0, "buffers", "not 6"),
        ([(7.0, 0.0), (7.0, 1.0)], 25.0, "buffers", "0.00 pH apart"),
        ([(3.557, 200.0), (4.005, 175.0)], 25.0, "buffers", "0.45 pH apart"),
        ([(4.01, 5.0), (7.0, 5.0)], 25.0, "readings", "5 mV in every buffer"),
        ([(4.01, 5.0), (4.01, -5.0), (7.0, 0.0)], 25.0, "readings", "the same voltage at low and high pH"),
        ([(4.01, float("nan")), (7.0, 0.0)], 25.0, "readings", "nan mV"),
        ([(4.01, 1700.0), (7.0, 0.0)], 25.0, "readings", "-1000 to 1000"),
        ([(40.1, 170.0), (7.0, 0.0)], 25.0, "buffers", "allowed are 0 to 14"),
        ([(4.01, 170.0), (7.0, 0.0)], 51.0, "temperature", "0 to 50 °C"),
        ([(4.01, 170.0), (7.0, 0.0)], float("nan"), "temperature", "0 to 50 °C"),
    ],
)
def test_points_that_make_no_calibration(
    points: list[tuple[float, float]], celsius: float, field: str, told: str
) -> None:
    refused = _refusal([PhPoint(*point) for point in points], celsius)
    assert refused.field == field
    assert told in str(refused)


@given(
    points=st.lists(st.tuples(st.floats(0.0, 14.0), st.floats(-1000.0, 1000.0)), min_size=2, max_size=5),
    celsius=st.floats(0.0, 50.0),
)
def test_any_points_give_a_finite_line_or_a_reason(points: list[tuple[float, float]], celsius: float) -> None:
    try:
        found = calibrated([PhPoint(*point) for point in points], celsius)
    except PhCalibrationRefused as refused:
        assert str(refused)
        return
    assume(abs(found.slope_mv) > 1e-6)
    assert isfinite(found.slope_percent)
    assert isfinite(found.u_at(3.4))
    assert (found.grade is PhGrade.GOOD) <= (95.0 <= found.slope_percent <= 102.0)


# ---- drift ----------------------------------------------------------------------------------------------------------


def test_drift_between_two_calibrations() -> None:
    """98 % and 0 mV, 30 days later 95 % and -5 mV: at pH 3.4 -5 + 0.95 x 212.97 = 197.3 mV were read as 3.596."""
    earlier = calibrated(_points(98.0, 0.0, 25.0, 4.01, 7.0), 25.0)
    later = calibrated(_points(95.0, -5.0, 25.0, 4.01, 7.0), 25.0)
    found = ph_drift(earlier, later, 30.0)
    assert found.slope_percent == pytest.approx(-3.0)
    assert found.offset_mv == pytest.approx(-5.0)
    assert found.ph == pytest.approx(0.196, abs=1e-3)
    assert found.ph_per_30_days == pytest.approx(found.ph)
    assert "was read 0.20 too high: calibrate every 8 days" in found.text
    assert ph_drift(later, earlier, 30.0).ph == pytest.approx(-0.202, abs=1e-3)
    assert "calibrate every" not in ph_drift(earlier, earlier, 30.0).text


def test_two_calibrations_at_different_temperatures() -> None:
    """The same probe shows no drift."""
    warm, cold = (calibrated(_points(98.0, -3.0, celsius, 4.01, 7.0), celsius) for celsius in (25.0, 12.0))
    assert ph_drift(warm, cold, 30.0).ph == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("days", [0.0, -1.0, float("nan")])
def test_days_that_are_none(days: float) -> None:
    line = PhCalibration(25.0, -58.0, 0.0)
    with pytest.raises(PhCalibrationRefused, match="days before"):
        ph_drift(line, line, days)


def test_a_ph_gets_less_sure_with_time() -> None:
    """0.05 in 30 days, any drift up to it as likely: 0.029 after 30 days."""
    assert aged_u_ph(0.02, 0.0) == pytest.approx(0.02)
    assert aged_u_ph(0.0, 30.0) == pytest.approx(0.05 / sqrt(3.0))
    assert aged_u_ph(0.02, 60.0, -0.03) == pytest.approx(sqrt(0.02**2 + (0.06 / sqrt(3.0)) ** 2))
