"""What a limit would send for a value, worked out without a store and without a clock."""

from __future__ import annotations

import pytest
from a_store import NOW
from cellar_text import BASE, cellar, limit, mail, temperature
from hypothesis import given
from hypothesis import strategies as st

from alerts.message.subject import SUBJECT_LIMIT
from alerts.message.trial import is_beyond, parse_value, try_limit
from alerts.watch.own_limits import watched_limits
from ingest.store.readings.series_history import HistoryRow

CELLAR = cellar(
    BASE,
    temperature(),
    limit(at="K1", quantity="temperature", high="68 °F", on_delay="4 h", hours="waking"),
    mail(),
)
LIMITS = watched_limits(CELLAR)
WARM, AIR, SILENT = LIMITS["K1/temperature/high"], LIMITS["K1/pressure/air"], LIMITS["K1/pressure/no-data"]
HOUR_MS = 3_600_000


def test_a_value_is_read_in_any_unit_of_its_quantity() -> None:
    assert parse_value(AIR, "0.5 psi", "keg") == pytest.approx(3.447379)
    assert parse_value(WARM, "70 °F", "keg") == pytest.approx(21.1111, abs=1e-4)
    assert parse_value(SILENT, "5 min", "keg") == 300.0


def test_what_lies_on_the_setpoint_is_not_beyond_it() -> None:
    assert [is_beyond(AIR, value) for value in (4.9, 5.0, 5.1)] == [True, False, False]
    assert [is_beyond(WARM, value) for value in (19.9, 20.0, 20.1)] == [False, False, True]


def test_the_alarm_comes_after_the_on_delay_and_the_message_in_its_hours() -> None:
    # It is half past seven in the evening; four hours later people sleep until seven.
    trial = try_limit(WARM, 21.0, CELLAR, NOW)
    assert trial.raised_ms == NOW + 4 * HOUR_MS
    assert trial.not_before_ms == NOW + round(11.5 * HOUR_MS)
    air = try_limit(AIR, 4.0, CELLAR, NOW)
    assert (air.raised_ms, air.not_before_ms) == (NOW + 60_000, NOW + 60_000)


def test_the_message_is_the_alarms_own_with_the_value_as_its_last_reading() -> None:
    text = try_limit(WARM, 21.0, CELLAR, NOW, [HistoryRow(NOW - 60_000, 18.0, 0)]).text
    assert text.subject == "MEDIUM PRIORITY: K1 temperature 69.8 °F, above 68 °F"
    assert text.body.endswith("64.4 °F\n  2026-11-25 19:30:00 CET (UTC+01:00)  69.8 °F\n")


def test_silence_began_as_long_ago_as_the_value_says() -> None:
    trial = try_limit(SILENT, 600.0, CELLAR, NOW)
    assert trial.raised_ms == NOW
    assert "Since:       2026-11-25 19:20:00 CET" in trial.text.body


@given(st.text(min_size=1, max_size=120))
def test_a_marked_message_is_known_as_a_trial_by_its_subject_and_its_first_words(who: str) -> None:
    for limit_ in LIMITS.values():
        value = limit_.setpoint + (-1.0 if limit_.kind == "low" else 1.0)
        marked = try_limit(limit_, value, CELLAR, NOW).marked(who)
        assert marked.subject.startswith("TRIAL: ")
        assert len(marked.subject) <= SUBJECT_LIMIT
        assert marked.body.startswith(f"THIS IS A TRIAL, sent by {who} ")


def test_a_change_is_tried_in_either_direction() -> None:
    change = LIMITS["K1/temperature/change"]
    assert [is_beyond(change, value) for value in (-5.1, -5.0, 5.0, 5.1)] == [True, False, False, True]
    falls, rises = (try_limit(change, value, CELLAR, NOW).text.body for value in (-7.0, 7.0))
    assert "K1: temperature is falling quickly, by 7.0 °C in 1 h." in falls
    assert "K1: temperature is rising quickly, by 7.0 °C in 1 h." in rises
