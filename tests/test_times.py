"""Moments as text, and what a person writes at a command line; both nights when the clocks change."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import IngestError
from ingest.times import Ambiguous, iso_utc, moment_of, spoken_moment

LJUBLJANA = ZoneInfo("Europe/Ljubljana")


def _utc_ms(text: str) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


def test_a_moment_as_text() -> None:
    assert iso_utc(0) == "1970-01-01T00:00:00.000Z"
    assert iso_utc(1_795_631_400_007) == "2026-11-25T18:30:00.007Z"
    assert iso_utc(-1) == "1969-12-31T23:59:59.999Z"


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-11-25", "2026-11-24T23:00"),
        ("2026-07-01", "2026-06-30T22:00"),
        ("2026-11-25 18:30", "2026-11-25T17:30"),
        ("2026-11-25T18:30", "2026-11-25T17:30"),
        ("  2026-11-25 18:30:15  ", "2026-11-25T17:30:15"),
        ("2026-11-25 18:30:15.25", "2026-11-25T17:30:15.250"),
        ("2026-11-25T18:30Z", "2026-11-25T18:30"),
        ("2026-11-25 18:30 -08:00", "2026-11-26T02:30"),
        ("2024-02-29", "2024-02-28T23:00"),
    ],
)
def test_what_a_person_writes(text: str, utc: str) -> None:
    assert moment_of(text, LJUBLJANA) == _utc_ms(utc)


# In the European Union clocks change at 01:00 UTC on the last Sundays of March and October (directive 2000/84/EC):
# in 2026 on 29 March from 02:00 to 03:00, and on 25 October from 03:00 back to 02:00.


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-10-25 01:59:59", "2026-10-24T23:59:59"),
        ("2026-10-25 02:30 +02:00", "2026-10-25T00:30"),
        ("2026-10-25 02:30+01:00", "2026-10-25T01:30"),
        ("2026-10-25 00:30Z", "2026-10-25T00:30"),
        ("2026-10-25 03:00", "2026-10-25T02:00"),
        ("2026-10-25", "2026-10-24T22:00"),
        ("2026-10-26", "2026-10-25T23:00"),
        ("2026-03-29 01:59:59", "2026-03-29T00:59:59"),
        ("2026-03-29 03:00", "2026-03-29T01:00"),
        ("2026-03-29", "2026-03-28T23:00"),
        ("2026-03-30", "2026-03-29T22:00"),
    ],
)
def test_the_nights_of_the_clock_change(text: str, utc: str) -> None:
    assert moment_of(text, LJUBLJANA) == _utc_ms(utc)


@pytest.mark.parametrize("time", ["02:00", "02:30", "02:59:59.999"])
def test_an_hour_that_was_passed_twice_is_asked_about(time: str) -> None:
    text = f"2026-10-25 {time}"
    with pytest.raises(Ambiguous) as caught:
        moment_of(text, LJUBLJANA)
    assert str(caught.value) == (
        f'\'{text}\' was passed twice when the clocks changed; say which: "{text}+02:00" or "{text}+01:00"'
    )
    assert moment_of(f"{text}+01:00", LJUBLJANA) - moment_of(f"{text}+02:00", LJUBLJANA) == 3_600_000


@pytest.mark.parametrize("time", ["02:00", "02:30", "02:59:59"])
def test_an_hour_that_was_skipped_is_asked_about(time: str) -> None:
    with pytest.raises(Ambiguous, match=r"was skipped when the clocks changed; say which: .*\+01:00.* or .*\+02:00"):
        moment_of(f"2026-03-29T{time}", LJUBLJANA)


@pytest.mark.parametrize(
    "text",
    ["", "yesterday", "25.11.2026", "2026-11-25 18", "18:30", "2026-11-25 18:30 CET", "2026-11-25Z", "2026-1-5"],
)
def test_what_is_no_time_is_told_with_what_is(text: str) -> None:
    with pytest.raises(IngestError, match="is no time; write a date such as 2026-11-25"):
        moment_of(text, LJUBLJANA)


@pytest.mark.parametrize("text", ["2026-02-29", "2026-13-01", "2026-11-25 24:30", "2026-11-25 18:30+25:00"])
def test_what_the_calendar_does_not_have_is_told(text: str) -> None:
    with pytest.raises(IngestError, match=r"is no time \(.+\); write a date"):
        moment_of(text, LJUBLJANA)


@given(st.integers(_utc_ms("1971-01-01"), _utc_ms("2100-01-01")))
def test_a_moments_text_is_that_moment_again(at_ms: int) -> None:
    assert moment_of(iso_utc(at_ms), LJUBLJANA) == at_ms


@given(
    st.one_of(
        st.text(max_size=30),
        st.from_regex(r"\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?(Z|[+-]\d{2}:\d{2})?)?", fullmatch=True),
    )
)
def test_any_text_is_a_moment_or_told(text: str) -> None:
    try:
        assert isinstance(moment_of(text, LJUBLJANA), int)
    except IngestError as error:
        assert text in str(error)


# 2026-11-25 10:40 in Ljubljana
_NOW = _utc_ms("2026-11-25T09:40")


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("now", "2026-11-25T09:40"),
        ("today", "2026-11-25T09:40"),
        ("2026-11-25", "2026-11-25T09:40"),
        ("09:30", "2026-11-25T08:30"),
        ("9:30", "2026-11-25T08:30"),
        ("today 09:30", "2026-11-25T08:30"),
        ("yesterday", "2026-11-24T11:00"),
        ("Yesterday 18:30", "2026-11-24T17:30"),
        ("  yesterday   18:30 ", "2026-11-24T17:30"),
        ("2026-11-20", "2026-11-20T11:00"),
        ("2026-11-20 18:30", "2026-11-20T17:30"),
        ("2026-11-20T18:30Z", "2026-11-20T18:30"),
        ("2026-11-20 18:30:15", "2026-11-20T17:30:15"),
        ("2026-10-25", "2026-10-25T11:00"),
    ],
)
def test_what_a_person_says_of_when_it_happened(text: str, utc: str) -> None:
    assert spoken_moment(text, LJUBLJANA, _NOW) == _utc_ms(utc)


@pytest.mark.parametrize(
    "text", ["", " ", "soon", "tomorrow", "yesterday18:30", "25:00", "18", "18:30 yesterday", "2026-02-30"]
)
def test_what_was_never_said_of_a_time_is_told_with_what_may_be(text: str) -> None:
    with pytest.raises(IngestError, match="is no time"):
        spoken_moment(text, LJUBLJANA, _NOW)


@pytest.mark.parametrize(
    ("now", "text", "ways"),
    [
        ("2026-10-25T10:00", "02:30", ("2026-10-25 02:30+02:00", "2026-10-25 02:30+01:00")),
        ("2026-10-26T10:00", "yesterday 02:30", ("2026-10-25 02:30+02:00", "2026-10-25 02:30+01:00")),
        ("2026-03-30T10:00", "yesterday 02:30", ("2026-03-29 02:30+01:00", "2026-03-29 02:30+02:00")),
    ],
)
def test_a_spoken_time_in_a_clock_change_is_told_with_two_ways_that_are_taken(
    now: str, text: str, ways: tuple[str, str]
) -> None:
    with pytest.raises(Ambiguous) as caught:
        spoken_moment(text, LJUBLJANA, _utc_ms(now))
    assert caught.value.ways == ways
    first, second = (spoken_moment(way, LJUBLJANA, _utc_ms(now)) for way in ways)
    assert abs(second - first) == 3_600_000
