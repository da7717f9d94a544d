"""When a message may go out."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import a_limit

from alerts.message.hours import earliest, hours_of

LJUBLJANA = ZoneInfo("Europe/Ljubljana")
DAY = (time(7, 0), time(21, 30))
NIGHT = (time(22, 0), time(6, 0))


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


@pytest.mark.parametrize(
    ("now", "waking", "expected"),
    [
        ("2026-11-25T12:00:00+01:00", DAY, "2026-11-25T12:00:00+01:00"),
        ("2026-11-25T07:00:00+01:00", DAY, "2026-11-25T07:00:00+01:00"),
        ("2026-11-25T06:59:59+01:00", DAY, "2026-11-25T07:00:00+01:00"),
        ("2026-11-25T21:29:59+01:00", DAY, "2026-11-25T21:29:59+01:00"),
        ("2026-11-25T21:30:00+01:00", DAY, "2026-11-26T07:00:00+01:00"),
        ("2026-11-25T23:00:00+01:00", NIGHT, "2026-11-25T23:00:00+01:00"),
        ("2026-11-25T05:59:59+01:00", NIGHT, "2026-11-25T05:59:59+01:00"),
        ("2026-11-25T06:00:00+01:00", NIGHT, "2026-11-25T22:00:00+01:00"),
        ("2026-11-25T03:00:00+01:00", (time(8), time(8)), "2026-11-25T03:00:00+01:00"),
        # On 29 March 2026 clocks go from 02:00 to 03:00, on 25 October back from 03:00 to 02:00.
        ("2026-03-28T22:00:00+01:00", DAY, "2026-03-29T07:00:00+02:00"),
        ("2026-10-24T22:00:00+02:00", DAY, "2026-10-25T07:00:00+01:00"),
        # Waking hours that begin or end in the hour that is skipped or comes twice.
        ("2026-03-29T00:30:00+01:00", (time(2, 30), time(20)), "2026-03-29T03:00:00+02:00"),
        ("2026-03-29T03:00:00+02:00", (time(22), time(2, 30)), "2026-03-29T22:00:00+02:00"),
        ("2026-10-25T00:30:00+02:00", (time(2, 30), time(20)), "2026-10-25T02:30:00+02:00"),
        ("2026-10-25T02:10:00+01:00", (time(2, 30), time(20)), "2026-10-25T02:10:00+01:00"),
        ("2026-10-25T02:20:00+01:00", (time(22), time(2, 30)), "2026-10-25T02:20:00+01:00"),
        ("2026-10-25T02:30:00+01:00", (time(22), time(2, 30)), "2026-10-25T22:00:00+01:00"),
    ],
)
def test_the_first_waking_moment(now: str, waking: tuple[time, time], expected: str) -> None:
    assert earliest(ms(now), "waking", waking, LJUBLJANA) == ms(expected)


def test_at_any_hour_means_now() -> None:
    assert earliest(1234567, "any", DAY, LJUBLJANA) == 1234567


clock_times = st.builds(time, st.integers(0, 23), st.sampled_from([0, 15, 30, 59]))
nights = [date(2026, 3, 28), date(2026, 10, 24), date(2026, 4, 4), date(2026, 10, 3), date(2026, 6, 1)]


@given(
    zone=st.sampled_from(["Europe/Ljubljana", "Australia/Lord_Howe", "America/New_York", "Asia/Kathmandu", "UTC"]),
    day=st.sampled_from(nights),
    minutes=st.integers(0, 36 * 60),
    waking=st.tuples(clock_times, clock_times).filter(lambda pair: pair[0] != pair[1]),
)
def test_it_is_the_first_minute_whose_wall_clock_is_within_the_hours(
    zone: str, day: date, minutes: int, waking: tuple[time, time]
) -> None:
    """Against a search minute by minute by the wall clock, away from the two hours around a change."""
    tz = ZoneInfo(zone)
    now = datetime.combine(day, time(), tzinfo=UTC) + timedelta(minutes=minutes)
    found = datetime.fromtimestamp(earliest(round(now.timestamp() * 1000), "waking", waking, tz) / 1000, UTC)
    assert now <= found <= now + timedelta(hours=26)

    def awake(moment: datetime) -> bool:
        wall, (begin, end) = moment.astimezone(tz).time(), waking
        return begin <= wall < end if begin < end else wall >= begin or wall < end

    searched = now
    while not awake(searched):
        searched += timedelta(minutes=1)
    around = {
        (each + timedelta(hours=hours)).astimezone(tz).utcoffset() for each in (found, searched) for hours in (-3, 3)
    }
    if len(around) == 1:
        assert found == searched
    else:
        assert abs(found - searched) <= timedelta(hours=1) or found < searched


@pytest.mark.parametrize(
    ("now", "waking", "expected"),
    [
        ("2026-11-25T06:59:59+01:00", DAY, "2026-11-25T07:00:00+01:00"),
        ("2026-11-25T07:00:00+01:00", DAY, "2026-11-26T07:00:00+01:00"),
        ("2026-11-25T12:00:00+01:00", DAY, "2026-11-26T07:00:00+01:00"),
        ("2026-11-25T12:00:00+01:00", NIGHT, "2026-11-25T22:00:00+01:00"),
        ("2026-11-25T09:00:00+01:00", (time(8), time(8)), "2026-11-26T08:00:00+01:00"),
        ("2026-03-28T12:00:00+01:00", (time(2, 30), time(20)), "2026-03-29T03:00:00+02:00"),
        ("2026-10-24T23:00:00+02:00", (time(2, 30), time(20)), "2026-10-25T02:30:00+02:00"),
    ],
)
def test_a_digest_goes_out_when_waking_hours_begin_next(now: str, waking: tuple[time, time], expected: str) -> None:
    assert earliest(ms(now), "digest", waking, LJUBLJANA) == ms(expected)


@given(at_ms=st.integers(1_700_000_000_000, 1_800_000_000_000), begin=st.times(), end=st.times())
def test_a_digest_is_never_more_than_a_day_and_an_hour_away(at_ms: int, begin: time, end: time) -> None:
    then_ms = earliest(at_ms, "digest", (begin.replace(second=0), end), LJUBLJANA)
    assert 0 < then_ms - at_ms <= 25 * 3_600_000


def test_due_work_and_sulfur_dioxide_never_wake() -> None:
    assert hours_of(None) == "any"
    assert hours_of(a_limit(hours="any")) == "any"
    assert hours_of(a_limit(hours="any", quantity="molecular_so2")) == "waking"
    assert hours_of(a_limit(hours="any", kind="due")) == "waking"
    assert hours_of(a_limit(hours="digest", kind="due")) == "digest"
