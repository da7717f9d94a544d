"""Times in a table: every form that is taken, and what is refused."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import Unreadable
from ingest.exchange.moments import DateOrder, Moments
from ingest.times import EARLIEST_MS, iso_utc

LJUBLJANA = ZoneInfo("Europe/Ljubljana")
NOW = 1_795_631_400_000  # 2026-11-25T18:30:00Z


def moments(zone: ZoneInfo = LJUBLJANA, earliest_ms: int = EARLIEST_MS) -> Moments:
    return Moments(zone, NOW, earliest_ms)


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-11-25T18:29:59Z", "2026-11-25T18:29:59.000Z"),
        ("2026-11-25t18:29:59.5z", "2026-11-25T18:29:59.500Z"),
        ("2026-11-25T19:29:59.123456+01:00", "2026-11-25T18:29:59.123Z"),
        ("2026-11-25 19:29:59 +0100", "2026-11-25T18:29:59.000Z"),
        ("2026-11-25 12:00", "2026-11-25T11:00:00.000Z"),
        (" 2026-07-01 12:00:07 ", "2026-07-01T10:00:07.000Z"),
        ("25.11.2026 12:00", "2026-11-25T11:00:00.000Z"),
        ("1.7.2026, 9:05:07", "2026-07-01T07:05:07.000Z"),
        ("1795631399", "2026-11-25T18:29:59.000Z"),
        ("1795631399.25", "2026-11-25T18:29:59.250Z"),
        ("1795631399250", "2026-11-25T18:29:59.250Z"),
    ],
)
def test_what_is_taken(text: str, utc: str) -> None:
    assert iso_utc(moments().at_ms(text)) == utc


@pytest.mark.parametrize(
    ("text", "reason", "detail"),
    [
        ("", "not a time", "empty"),
        ("2026", "not a time", "2026"),
        ("46350.77", "not a time", "46350.77"),
        ("25.11.2026", "not a time", "has no time of day"),
        ("25.13.2026 10:00", "not a time", "does not exist"),
        ("11/25/2026 18:30", "day or month first?", "--dates"),
        ("25.11.26 18:30", "not a time", "25.11.26"),
        ("25.11.2026 13:00 PM", "not a time", "does not exist"),
        ("2026-11-25", "not a time", "2026-11-25"),
        ("2026-02-30 10:00", "not a time", "does not exist"),
        ("2026-11-25 10:00:60", "not a time", "10:00:60"),
        ("2026-11-25 24:00:00", "not a time", "does not exist"),
        ("2026-11-25 10:00:00+01:60", "not a time", "does not exist"),
        ("2026-11-25T10:00:00.5+24:00", "not a time", "does not exist"),
        ("2026-10-25 02:30:00", "ambiguous local time", "+02:00"),
        ("2026-03-29 02:30:00", "ambiguous local time", "was skipped"),
        ("2026-11-25T18:30:00.001Z", "in the future", "18:30"),
        ("1970-01-01T00:00:00Z", "before 2000", "1970"),
    ],
)
def test_what_is_refused(text: str, reason: str, detail: str) -> None:
    with pytest.raises(Unreadable) as caught:
        moments().at_ms(text)
    assert caught.value.reason == reason
    assert detail in caught.value.detail


def test_the_hour_that_comes_twice_is_taken_where_its_zone_is_told() -> None:
    taken = moments()
    assert taken.at_ms("2026-10-25 02:30:00+01:00") - taken.at_ms("2026-10-25 02:30:00+02:00") == 3_600_000


def test_what_would_be_dropped_at_once_is_refused() -> None:
    with pytest.raises(Unreadable, match="older than keep_raw"):
        moments(earliest_ms=NOW - 86_400_000).at_ms("2026-11-20 12:00")


@given(st.integers(EARLIEST_MS, NOW))
def test_every_way_to_write_a_time_means_that_time(at_ms: int) -> None:
    taken = moments()
    moment = datetime.fromtimestamp(at_ms // 1000, UTC).replace(microsecond=at_ms % 1000 * 1000)
    assert taken.at_ms(iso_utc(at_ms)) == at_ms
    assert taken.at_ms(moment.astimezone(LJUBLJANA).isoformat(timespec="milliseconds")) == at_ms
    assert taken.at_ms(f"{at_ms // 1000}.{at_ms % 1000:03d}") == at_ms
    if at_ms >= 100_000_000_000:  # fewer digits are seconds
        assert taken.at_ms(str(at_ms)) == at_ms
    assert moments(ZoneInfo("UTC")).at_ms(moment.strftime("%Y-%m-%d %H:%M:%S")) == at_ms // 1000 * 1000


@given(st.text(max_size=40))
def test_any_text_is_a_time_or_refused(text: str) -> None:
    try:
        assert EARLIEST_MS <= moments().at_ms(text) <= NOW
    except Unreadable as error:
        assert error.reason


@pytest.mark.parametrize(
    ("text", "order", "utc"),
    [
        ("11/25/2026", "month-first", "2026-11-25T11:00:00.000Z"),
        ("11/02/2026 9:30 PM", "month-first", "2026-11-02T20:30:00.000Z"),
        ("11/02/2026 12:05 am", "day-first", "2026-02-10T23:05:00.000Z"),
        ("2/11/2026 21:30", "day-first", "2026-11-02T20:30:00.000Z"),
        ("25.11.2026", "month-first", "2026-11-25T11:00:00.000Z"),
        ("2026-11-25", None, "2026-11-25T11:00:00.000Z"),
    ],
)
def test_dates_of_other_people(text: str, order: DateOrder | None, utc: str) -> None:
    assert iso_utc(Moments(LJUBLJANA, NOW, order=order, noon=True).at_ms(text)) == utc
