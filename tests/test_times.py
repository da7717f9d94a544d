"""Moments as text, and what a person writes at a command line; both nights when the clocks change."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import IngestError
from ingest.times import Ambiguous, Skipped, iso_utc, moment_of, spoken_moment

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
        ("2026-11-25t18:30:00z", "2026-11-25T18:30"),
        ("2026-11-25 19:30 +0100", "2026-11-25T18:30"),
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
        f'\'{text}\' occurred twice when the clocks changed; say which: "{text}+02:00" or "{text}+01:00"'
    )
    assert moment_of(f"{text}+01:00", LJUBLJANA) - moment_of(f"{text}+02:00", LJUBLJANA) == 3_600_000


# Where the clocks go on by an hour at two, by half an hour (Lord Howe), at midnight (Havana), and by a day (Apia went
# over the date line); all by the tz database.
@pytest.mark.parametrize(
    ("zone", "text", "told"),
    [
        (
            "Europe/Ljubljana",
            "2026-03-29T02:00",
            "went from 02:00 to 03:00; write a time before 02:00 or from 03:00 on",
        ),
        ("Europe/Ljubljana", "2026-03-29 02:30", "went from 02:00 to 03:00; write"),
        ("Europe/Ljubljana", "2026-03-29 02:59:59", "went from 02:00 to 03:00; write"),
        ("America/New_York", "2026-03-08 02:59:59.999", "went from 02:00 to 03:00; write"),
        ("Australia/Lord_Howe", "2026-10-04 02:29:59", "went from 02:00 to 02:30; write"),
        ("America/Havana", "2026-03-08 00:30", "went from 00:00 to 01:00; write"),
        ("Pacific/Apia", "2011-12-30 10:00", "from 2011-12-30 00:00 to 2011-12-31 00:00; write"),
    ],
)
def test_a_time_that_never_was_is_refused_with_the_times_around_it(zone: str, text: str, told: str) -> None:
    with pytest.raises(Skipped) as caught:
        moment_of(text, ZoneInfo(zone))
    assert str(caught.value).startswith(f"'{text}' was skipped when the clocks went ")
    assert told in str(caught.value)
    assert caught.value.ways == ()


_ZONES = [
    ZoneInfo(name)
    for name in (
        "Europe/Ljubljana",
        "Europe/London",
        "America/New_York",
        "America/Santiago",
        "America/Havana",
        "Australia/Sydney",
        "Australia/Lord_Howe",
        "Asia/Kolkata",
        "Pacific/Auckland",
    )
]


def _changes(zone: ZoneInfo) -> list[int]:
    """The moments of 2025 to 2027 at which the zone's clocks change (UTC ms, to the minute)."""
    found = []
    hours = range(_utc_ms("2025-01-01"), _utc_ms("2028-01-01"), 3_600_000)
    offset = {at: datetime.fromtimestamp(at / 1000, UTC).astimezone(zone).utcoffset() for at in hours}
    for at in hours[1:]:
        if offset[at] != offset[at - 3_600_000]:
            found.append(
                next(
                    one
                    for one in range(at - 3_540_000, at + 60_000, 60_000)
                    if datetime.fromtimestamp(one / 1000, UTC).astimezone(zone).utcoffset() == offset[at]
                )
            )
    return found


_CHANGES = [(zone, change) for zone in _ZONES for change in _changes(zone)]


def test_the_zones_that_are_tried_change_their_clocks_twice_a_year() -> None:
    assert {sum(1 for each, _ in _CHANGES if each is zone) for zone in _ZONES} == {0, 6}


@given(st.sampled_from(_CHANGES), st.integers(-150, 150))
def test_around_every_clock_change_each_moment_is_that_moment_or_asked_about(
    night: tuple[ZoneInfo, int], minutes: int
) -> None:
    zone, change = night
    at_ms = change + minutes * 60_000
    local = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone)
    text = f"{local:%Y-%m-%d %H:%M}"
    twin = local.replace(fold=1 - local.fold)
    if twin.utcoffset() == local.utcoffset():
        assert moment_of(text, zone) == at_ms
        return
    with pytest.raises(Ambiguous) as caught:
        spoken_moment(text, zone, at_ms + 86_400_000)
    assert not isinstance(caught.value, Skipped)
    assert at_ms in [moment_of(way, zone) for way in caught.value.ways]
    assert len({moment_of(way, zone) for way in caught.value.ways}) == 2


@given(st.sampled_from(_CHANGES), st.integers(-150, 150))
def test_every_local_time_around_a_clock_change_is_taken_asked_about_or_never_was(
    night: tuple[ZoneInfo, int], minutes: int
) -> None:
    zone, change = night
    wall = datetime.fromtimestamp(change / 1000, UTC).astimezone(zone).replace(tzinfo=None) + timedelta(minutes=minutes)
    text = f"{wall:%Y-%m-%d %H:%M}"
    there = [
        at_ms
        for at_ms in range(change - 6 * 3_600_000, change + 6 * 3_600_000, 60_000)
        if datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).replace(tzinfo=None) == wall
    ]
    try:
        assert [moment_of(text, zone)] == there
    except Skipped as error:
        assert there == []
        assert "write a time before" in str(error)
    except Ambiguous as error:
        assert sorted(moment_of(way, zone) for way in error.ways) == there


@given(st.sampled_from(_ZONES), st.integers(_utc_ms("1990-01-01"), _utc_ms("2037-12-31")))
def test_what_is_said_of_yesterday_is_what_the_date_says(zone: ZoneInfo, now_ms: int) -> None:
    today = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone).date()
    yesterday = today - timedelta(days=1)

    def said(text: str) -> int | str:
        try:
            return spoken_moment(text, zone, now_ms)
        except Ambiguous as error:
            return "|".join(error.ways)

    for time in ("18:30", "02:30", "0:30", "7:05:09"):
        assert said(f"yesterday {time}") == said(f"{yesterday} {time}")
        assert said(time) == said(f"today {time}") == said(f"{today} {time}") == said(f"{today}T{time}")
    assert said("yesterday") == said(f"{yesterday} 12:00")
    assert said(f"{today}") == said("today") == said("now") == now_ms


@given(
    st.sampled_from(_ZONES),
    st.one_of(
        st.text(max_size=30),
        st.from_regex(
            r"(now|today|[Yy]esterday|\d{4}-\d{1,2}-\d{1,2})?([T ]+\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?)?"
            r"( ?Z|[+-]\d{2}:\d{2})?",
            fullmatch=True,
        ),
    ),
)
def test_whatever_is_said_of_a_time_is_one_or_told(zone: ZoneInfo, text: str) -> None:
    try:
        assert isinstance(spoken_moment(text, zone, _NOW), int)
    except Ambiguous:
        pass
    except IngestError as error:
        assert text in str(error)
        assert "write" in str(error)


@pytest.mark.parametrize(
    "text",
    ["", "yesterday", "25.11.2026", "2026-11-25 18", "18:30", "2026-11-25 18:30 CET", "2026-11-25Z", "2026-1-5"],
)
def test_what_is_no_time_is_told_with_what_is(text: str) -> None:
    with pytest.raises(IngestError, match="is not a time; write a date such as 2026-11-25"):
        moment_of(text, LJUBLJANA)


ZONES_THAT_ARE_NOT = [f"2026-11-25 18:30{zone}" for zone in ("+01:60", "+0160", "-00:99", "+24:00", "-24:00")]


@pytest.mark.parametrize(
    "text", ["2026-02-29", "2026-13-01", "2026-11-25 24:30", "2026-11-25 18:30+25:00", *ZONES_THAT_ARE_NOT]
)
def test_what_the_calendar_does_not_have_is_told(text: str) -> None:
    with pytest.raises(IngestError, match=r"is not a time \(.+\); write a date"):
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
        ("2026-11-20 9:05:07", "2026-11-20T08:05:07"),
        ("9:05:07", "2026-11-25T08:05:07"),
    ],
)
def test_what_a_person_says_of_when_it_happened(text: str, utc: str) -> None:
    assert spoken_moment(text, LJUBLJANA, _NOW) == _utc_ms(utc)


@pytest.mark.parametrize(
    "text", ["", " ", "soon", "tomorrow", "yesterday18:30", "25:00", "18", "18:30 yesterday", "2026-02-30"]
)
def test_what_was_never_said_of_a_time_is_told_with_what_may_be(text: str) -> None:
    with pytest.raises(IngestError, match="is not a time"):
        spoken_moment(text, LJUBLJANA, _NOW)


@pytest.mark.parametrize(
    ("now", "text", "ways"),
    [
        ("2026-10-25T10:00", "02:30", ("2026-10-25 02:30+02:00", "2026-10-25 02:30+01:00")),
        ("2026-10-26T10:00", "yesterday 02:30", ("2026-10-25 02:30+02:00", "2026-10-25 02:30+01:00")),
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
