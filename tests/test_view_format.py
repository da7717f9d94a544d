"""Values, times and ages as people read them."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import a_limit, a_silence

from alerts.view.format import (
    age,
    exact_time,
    local_time,
    long_time,
    measured_name,
    missing_words,
    quality_text,
    quantity_name,
    unit_name,
    value_text,
)
from alerts.watch.own_limits import BROKER, DISK
from ingest.cellar import QUANTITIES

LJUBLJANA = ZoneInfo("Europe/Ljubljana")
HOUR = 3_600_000
# 2026-11-25T18:30:00Z
NOW = 1_795_631_400_000


def test_a_quality_is_given_with_its_reason_and_a_number_that_came_late_is_called_so() -> None:
    assert quality_text("uncertain", "jump") == "uncertain (jump)"
    assert quality_text("uncertain", "backlog") == "late reading"
    assert quality_text("good", "") == "good"


@pytest.mark.parametrize(
    ("quantity", "value", "metric", "us"),
    [
        ("temperature", 12.345, "12.3 °C", "54.2 °F"),
        ("temperature", -0.04, "0.0 °C", "31.9 °F"),
        ("pressure", 55.16, "55.2 kPa", "8.00 psi"),
        ("pressure", -0.004, "0.0 kPa", "0.00 psi"),
        ("barometric_pressure", 101.325, "101.33 kPa", "14.696 psi"),
        ("pH", 3.456, "3.46", "3.46"),
    ],
)
def test_a_value_has_its_unit_and_the_digits_that_mean_something(
    quantity: str, value: float, metric: str, us: str
) -> None:
    assert value_text(quantity, value, "metric") == metric
    assert value_text(quantity, value, "us") == us


@pytest.mark.parametrize("quantity", QUANTITIES)
@given(value=st.floats(-1e6, 1e6))
def test_no_value_is_a_negative_nothing(quantity: str, value: float) -> None:
    for units in ("metric", "us"):
        number = value_text(quantity, value, units).split(" ")[0]
        assert not (number.startswith("-") and float(number) == 0)


def test_each_quantity_has_a_unit_to_show() -> None:
    assert {quantity: unit_name(quantity, "metric") for quantity in QUANTITIES} == {
        "temperature": "°C",
        "pressure": "kPa",
        "barometric_pressure": "kPa",
        "pH": "",
    }
    assert {quantity: unit_name(quantity, "us") for quantity in QUANTITIES} == {
        "temperature": "°F",
        "pressure": "psi",
        "barometric_pressure": "psi",
        "pH": "",
    }
    assert quantity_name("barometric_pressure") == "barometric pressure"
    assert quantity_name("hours_to_air_floor_by_cold") == "time to air floor by cold"
    assert quantity_name("cylinder_days_left") == "time left in the cylinder"


def test_today_is_shown_by_the_time_of_day_and_another_day_by_its_date() -> None:
    assert local_time(NOW, LJUBLJANA, NOW) == "19:30:00 CET"
    assert local_time(NOW - 19 * HOUR, LJUBLJANA, NOW) == "00:30:00 CET"
    assert local_time(NOW - 20 * HOUR, LJUBLJANA, NOW) == "2026-11-24 23:30 CET"
    # At half past midnight the cellar's day is the new one, though the day of UTC is not over.
    assert local_time(NOW + 5 * HOUR, LJUBLJANA, NOW + 5 * HOUR) == "00:30:00 CET"
    assert local_time(NOW + 5 * HOUR, LJUBLJANA, NOW) == "2026-11-26 00:30 CET"


def test_the_hour_that_was_passed_twice_is_told_apart() -> None:
    before = 1_792_888_200_000  # 2026-10-25T00:30Z, half an hour before the clocks go back
    assert local_time(before, LJUBLJANA, before) == "02:30:00 CEST"
    assert local_time(before + HOUR, LJUBLJANA, before) == "02:30:00 CET"


def test_a_long_time_has_its_date_and_an_exact_one_its_distance_from_utc() -> None:
    assert long_time(NOW, LJUBLJANA) == "2026-11-25 19:30:00 CET"
    assert exact_time(NOW, LJUBLJANA) == "2026-11-25 19:30:00 CET (UTC+01:00)"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (-5, "0 s"),
        (0, "0 s"),
        (89, "89 s"),
        (90, "1 min"),
        (120, "2 min"),
        (7199, "119 min"),
        (7200, "2 h"),
        (172_799, "47 h"),
        (172_800, "2 d"),
        (864_000, "10 d"),
    ],
)
def test_an_age_in_one_unit(seconds: int, text: str) -> None:
    assert age(seconds * 1000) == text
    if seconds >= 0:
        assert age(seconds * 1000 + 999) == text


def test_what_a_limit_is_on_is_called_as_people_call_it() -> None:
    assert measured_name(a_limit(quantity="free_so2")) == "free SO2"
    assert measured_name(a_silence(quantity="line the_bench", probe="")) == "line the_bench"


def test_what_is_wrong_with_a_probe_or_a_part_of_leeside() -> None:
    limits = [
        a_silence(),
        a_silence(role="bad measurement"),
        a_silence(key=BROKER, probe=""),
        a_silence(key=DISK, probe=""),
    ]
    assert [missing_words(limit) for limit in limits] == ["no data", "no good reading", "not responding", "nearly full"]
