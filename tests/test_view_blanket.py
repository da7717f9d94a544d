"""The gas over a wine as people read it: ranges rounded to what they are uncertain by, and each finding in words."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import a_limit

from alerts.blanket.details import BlanketShown, blanket_details
from alerts.view.format import limit_value_text, value_text
from alerts.view.gas.blanket_lines import blanket_json, blanket_line, blanket_lines, blanket_of
from alerts.view.gas.blanket_values import compensated_text, headspace_text, hours_text, rate_pressure_text, rate_text
from alerts.watch.turn import JUDGEMENT_FRESH_S
from ingest.cellar import NOT_FORESEEN_H
from ingest.judgement import FINDINGS, Judgement

NOW = 1_791_021_600_000
HOUR = 3_600_000
GAS = sorted(FINDINGS - {"", "cannot be told apart from the legal limit"})


def a_leak(**changes: Any) -> BlanketShown:
    """Make a slow leak from a keg of 2 L headspace."""
    settings: dict[str, Any] = {
        "at_ms": NOW,
        "finding": "slow leak",
        "gas": "nitrogen",
        "raw_kpa": 22.04,
        "compensated_kpa": 24.9,
        "u_compensated_kpa": 0.5,
        "reference_c": 15.0,
        "floor_kpa": 5.0,
        "rate_ml_min": 0.5,
        "u_rate_ml_min": 0.05,
        "rate_kpa_day": 39.0,
        "hours_low": 9.2,
        "hours_high": 14.1,
        "headspace_l": 2.03,
        "u_headspace_l": 0.1,
        "since_ms": NOW - 8 * HOUR,
        "last_sound_ms": NOW - 9 * HOUR,
        "leak_certain": True,
    }
    return BlanketShown(**{**settings, **changes})


@pytest.mark.parametrize(
    ("rate", "u", "words"),
    [
        (0.5, 0.05, "0.4 to 0.6 mL a minute"),
        (-0.5, 0.05, "0.4 to 0.6 mL a minute"),
        (0.012, 0.002, "0.008 to 0.016 mL a minute"),
        (0.05, 0.04, "up to 0.13 mL a minute"),
        (34.0, 3.0, "28 to 40 mL a minute"),
        (346.0, 30.0, "290 to 410 mL a minute"),
        (1300.0, 50.0, "1.2 to 1.4 L a minute"),
        (0.5, None, "about 0.50 mL a minute"),
    ],
)
def test_a_rate_is_a_range(rate: float, u: float | None, words: str) -> None:
    assert rate_text(rate, u) == words


def test_a_rate_of_pressure_has_the_same_uncertainty_in_proportion() -> None:
    assert rate_pressure_text(5.0, 0.5, 0.05, "metric") == "4 to 6 kPa a day"
    assert rate_pressure_text(-5.0, -0.5, 0.05, "metric") == "4 to 6 kPa a day"
    assert rate_pressure_text(5.0, 0.5, 0.05, "us") == "0.6 to 0.9 psi a day"
    assert rate_pressure_text(2640.0, 34.0, 2.0, "metric") == "100 to 120 kPa an hour"


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (11.2, 15.6, "11 to 16 hours"),
        (0.3, 0.8, "18 to 48 minutes"),
        (0.0, 0.5, "at most 30 minutes"),
        (30.0, 60.0, "30 to 60 hours"),
        (70.0, 90.0, "2 to 4 days"),
        (9.2, 9.2, "about 9 hours"),
        (11.0, None, "at least 11 hours"),
        (11.0, NOT_FORESEEN_H, "at least 11 hours"),
        (0.0, None, "perhaps at once"),
        (NOT_FORESEEN_H, NOT_FORESEEN_H, ""),
        (None, None, ""),
    ],
)
def test_hours_are_a_range(low: float | None, high: float | None, words: str) -> None:
    assert hours_text(low, high) == words


def test_a_pressure_says_at_which_temperature() -> None:
    assert compensated_text(36.2, 1.0, 15.0, "metric") == "36 ± 2 kPa at 15 °C"
    assert compensated_text(36.21, 0.2, 12.5, "metric") == "36.2 ± 0.4 kPa at 12.5 °C"
    assert compensated_text(36.2, 1.0, 15.0, "us") == "5.3 ± 0.3 psi at 59 °F"
    assert compensated_text(36.2, None, None, "metric") == "36.2 kPa compensated"
    assert headspace_text(2.03, 0.15) == "2.0 ± 0.3 L"
    assert headspace_text(2.4, 1.3) == "up to 5 L"


@given(
    st.floats(0.001, 3000.0, allow_nan=False),
    st.floats(0.01, 1.0, allow_nan=False),
)
def test_a_range_holds_the_rate_that_it_is_about(rate: float, share: float) -> None:
    text = rate_text(rate, rate * share).removesuffix(" a minute")
    numbers, unit = text.rsplit(" ", 1)
    least, _, most = numbers.removeprefix("up to ").removeprefix("about ").rpartition(" to ")
    size = 1000.0 if unit == "L" else 1.0
    # As far as rounding goes.
    assert float(most) * size >= rate * (1 - 1e-9)
    assert float(least or 0.0) * size <= rate * (1 + 1e-9) or "about" in text


def test_one_line_says_a_leak_whole() -> None:
    assert blanket_line(a_leak(), UTC, "metric", NOW) == (
        "blanket: slow leak, 0.4 to 0.6 mL a minute, 31 to 47 kPa a day, air floor of 5 kPa in 9 to 15 hours, since "
        "02:00:00 UTC; gauge 22.0 kPa, 25 ± 1 kPa at 15 °C"
    )


def test_a_leak_that_is_not_certain_is_not_said_to_be() -> None:
    shown = a_leak(leak_certain=False)
    assert blanket_line(shown, UTC, "metric", NOW).startswith("blanket: perhaps slow leak, ")
    assert blanket_lines(shown, UTC, "metric", NOW)[0] == (
        "blanket: perhaps a slow leak: gas seems to be lost, but that is not certain yet"
    )


@pytest.mark.parametrize("finding", GAS)
def test_each_finding_has_its_meaning_and_sound_ones_no_rate(finding: str) -> None:
    lines = blanket_lines(a_leak(finding=finding), UTC, "metric", NOW)
    head, _, meaning = lines[0].removeprefix("blanket: ").partition(": ")
    assert head == finding
    assert len(meaning) > 10
    assert ("mL a minute" in " ".join(lines)) == (finding not in ("sound", "cannot tell yet", "no judgement"))


def test_what_cannot_be_told_says_why() -> None:
    reason = "K1 has no probe of temperature, so cold and a leak look alike"
    shown = BlanketShown(at_ms=NOW, finding="no judgement", raw_kpa=52.1, warnings=(reason,))
    assert blanket_line(shown, UTC, "metric", NOW) == f"blanket: no judgement, {reason}; gauge 52.1 kPa"
    assert blanket_lines(shown, UTC, "metric", NOW)[-1] == f"note: {reason}"


def test_a_draw_has_its_time_and_a_floor_that_is_reached_no_hours() -> None:
    drawn = BlanketShown(at_ms=NOW, finding="drawn", raw_kpa=33.0, since_ms=NOW - 3_600_000)
    assert blanket_line(drawn, UTC, "metric", NOW).startswith("blanket: drawn at ")
    cold = BlanketShown(at_ms=NOW, finding="cooling", raw_kpa=4.0, floor_kpa=5.0, hours_cold=0.0)
    assert "air floor of 5 kPa reached by cold alone" in blanket_line(cold, UTC, "metric", NOW)


def test_a_gauge_that_is_stuck_is_not_compensated() -> None:
    stuck = BlanketShown(at_ms=NOW, finding="no judgement", raw_kpa=38.8, compensated_kpa=42.4, headspace_l=2.0)
    shown = " ".join([blanket_line(stuck, UTC, "metric", NOW), *blanket_lines(stuck, UTC, "metric", NOW)])
    assert "38.8 kPa" in shown
    assert "42.4" not in shown and "headspace" not in shown


def test_cold_alone_is_said_as_such() -> None:
    shown = a_leak(
        finding="cooling", leak_certain=False, rate_ml_min=0.0, hours_low=None, hours_high=None, hours_cold=9.2
    )
    line = blanket_line(shown, UTC, "metric", NOW)
    assert line.startswith("blanket: cooling, no gas lost, air floor of 5 kPa by cold alone in about 9 hours, since ")
    assert "mL a minute" not in line


def test_an_old_judgement_is_none() -> None:
    row = Judgement("K1", "compensated_pressure", NOW, 24.9, details=blanket_details(a_leak()))
    assert blanket_of((row,), NOW) == a_leak()
    old = blanket_of((row,), NOW + round(JUDGEMENT_FRESH_S * 1000) + 1)
    assert old is not None
    assert (old.finding, old.raw_kpa, old.warnings) == (
        "no judgement",
        None,
        ("the last judgement is 30 min old: it was slow leak",),
    )
    assert blanket_of((row._replace(name="leak_rate"),), NOW) is None
    assert blanket_of((row._replace(details={}),), NOW) is None


def test_the_object_has_every_number_and_null_for_what_is_not_known() -> None:
    full = blanket_json(a_leak())
    assert full["hours_to_floor_low"] == 9.2
    assert full["since"] == "2026-10-03T02:00:00.000Z"
    empty = blanket_json(BlanketShown(at_ms=NOW, finding="no judgement"))
    assert set(empty) == set(full)
    assert empty["rate_ml_min"] is None
    numbers = {
        field.name for field in fields(BlanketShown) if field.name.endswith(("_kpa", "_ml_min", "_l", "_kpa_day"))
    }
    assert numbers <= set(full)


def test_hours_of_gas_that_is_not_lost_are_not_said() -> None:
    line = blanket_line(a_leak(finding="sound", leak_certain=False), UTC, "metric", NOW)
    assert line == "blanket: sound; gauge 22.0 kPa, 25 ± 1 kPa at 15 °C"
    reason = "Less than half a day has been read since the gas changed: only a fast leak would show."
    untold = a_leak(finding="cannot tell yet", leak_certain=False, warnings=(reason,))
    assert blanket_line(untold, UTC, "metric", NOW).startswith(
        "blanket: cannot tell yet, less than half a day has been read since the gas changed: only a fast leak would"
    )


def test_a_small_flow_is_not_shown_as_none() -> None:
    assert value_text("leak_rate", 0.001, "metric") == "0.001 mL/min"
    assert value_text("leak_rate", 0.4, "metric") == "0.40 mL/min"
    assert value_text("gas_gain_rate", 0.0, "metric") == "0.00 mL/min"


def test_hours_that_are_not_foreseen_are_no_number() -> None:
    hours = a_limit(quantity="hours_to_air_floor", unit_text="h", setpoint=24.0)
    assert limit_value_text(NOT_FORESEEN_H, hours) == "not foreseen"
    assert limit_value_text(11.0, hours) == "11.0 h"
    assert value_text("hours_to_air_floor_by_cold", NOT_FORESEEN_H, "metric") == "not foreseen"


def test_of_a_vessel_without_a_blanket_only_gas_that_rises_is_said() -> None:
    airlock = BlanketShown(at_ms=NOW, finding="sound", gas="carbon dioxide", raw_kpa=0.2, without_blanket=True)
    assert blanket_line(airlock, UTC, "metric", NOW) == "headspace: no gas rising; gauge 0.2 kPa"
    assert blanket_lines(airlock, UTC, "metric", NOW) == ["headspace: no gas rising", "gauge 0.2 kPa"]
    rising = a_leak(finding="gas rising", rate_ml_min=-0.5, without_blanket=True, floor_kpa=None)
    assert blanket_lines(rising, UTC, "metric", NOW)[0] == (
        "headspace: gas rising: gas comes in, because the wine gives off carbon dioxide"
    )


def test_a_gauge_that_was_read_some_time_ago_is_said_with_its_time() -> None:
    old = BlanketShown(at_ms=NOW - 600_000, finding="sound", raw_kpa=54.4)
    assert blanket_line(old, UTC, "metric", NOW) == "blanket: sound; gauge 54.4 kPa, as of 09:50:00 UTC"
    assert "as of" not in blanket_line(old, UTC, "metric", NOW - 500_000)
