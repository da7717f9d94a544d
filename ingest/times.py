"""Moments as UTC milliseconds: written as RFC 3339 text, and read from instruments, tables and people."""

from __future__ import annotations

__all__ = [
    "EARLIEST_MS",
    "END_OF_TIME_MS",
    "Ambiguous",
    "Skipped",
    "bound_of",
    "clock_change",
    "epoch_ms",
    "fraction_ms",
    "iso_utc",
    "iso_utc_known",
    "moment_of",
    "parse_rfc3339",
    "seconds_ms",
    "short_day",
    "spoken_moment",
]

import re
from datetime import UTC, datetime, timedelta, tzinfo
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from ingest.errors import IngestError, Unreadable

# Later than any stored moment, for spans without an end [UTC ms]; something can still be added to it within 64 bits.
END_OF_TIME_MS: Final = 1 << 62
# 2000-01-01T00:00:00Z [UTC ms]: a clock that was never set shows an earlier time.
EARLIEST_MS: Final = 946_684_800_000

# The size of a number of seconds, milliseconds or microseconds since 1970 shows its unit: until the year 5138 they stay
# below 1e11, 1e14 and 1e17, and since March 1973 each is above the bound before it. Common practice, no source.
_SECONDS_BELOW: Final = 10**11
_MILLISECONDS_BELOW: Final = 10**14
_MICROSECONDS_BELOW: Final = 10**17

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND: Final = timedelta(milliseconds=1)
_DAY_MS: Final = 86_400_000

# RFC 3339, section 5.6. Its note allows "t" and "z" in lower case, and a space instead of the "T".
_RFC3339: Final = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2}):(\d{2})((?:\.\d+)?)([Zz]|[+-]\d{2}:[0-5]\d)", re.ASCII
)
# The same with fewer required parts, as people write it and other programs put it into tables.
_FORM: Final = re.compile(
    r"(?P<date>\d{4}-\d{2}-\d{2})"
    r"(?:[Tt ](?P<time>\d{2}:\d{2}(?::\d{2}(?P<fraction>\.\d{1,9})?)?)"
    r"\s*(?P<zone>[Zz]|[+-]\d{2}:?(?P<zone_minutes>\d{2}))?)?",
    re.ASCII,
)
_ALLOWED: Final = (
    'a date such as 2026-11-25, or date and time such as "2026-11-25 18:30", with Z or +01:00 if not cellar time'
)
_SPOKEN: Final = re.compile(
    r"(?:(?P<day>today|yesterday)|(?P<date>\d{4}-\d{2}-\d{2}))?(?:(?:^|[T ])\s*(?P<time>\d{1,2}:\d{2}(?::\d{2})?))?",
    re.ASCII | re.IGNORECASE,
)
_SPOKEN_ALLOWED: Final = 'today, yesterday, 18:30, "yesterday 18:30", ' + _ALLOWED


class Ambiguous(IngestError):
    """A local time that occurs twice when the clocks go back; ways: how to write each of the two moments."""

    def __init__(self, message: str, ways: tuple[str, ...]) -> None:
        self.ways = ways
        super().__init__(message)


class Skipped(Ambiguous):
    """A local time that is skipped when the clocks go forward: there is nothing to choose from, so ways is empty."""


def iso_utc(at_ms: int) -> str:
    """Write UTC milliseconds as ``2026-11-25T18:30:00.000Z`` (RFC 3339)."""
    moment = datetime.fromtimestamp(at_ms // 1000, UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{at_ms % 1000:03d}Z"


def iso_utc_known(at_ms: int | None) -> str | None:
    """Write the same of a time that may not be known: None of None."""
    return None if at_ms is None else iso_utc(at_ms)


# ---- from instruments and other programs ---------------------------------------------------------------------------


def parse_rfc3339(text: str) -> int:
    """Read an RFC 3339 time as UTC milliseconds, rounded as ``seconds_ms`` says; its zone is required.

    A leap second (``23:59:60`` UTC) counts as the second after it, as POSIX time does.
    Raises Unreadable ``not a time``.
    """
    match = _RFC3339.fullmatch(text)
    if match is None:
        raise Unreadable("not a time", f"{text[:60]!r} is not an RFC 3339 time with zone, like 2026-11-25T08:30:00Z")
    date, minute, second, fraction, zone = match.groups()
    leap = second == "60"
    try:
        moment = datetime.fromisoformat(f"{date}T{minute}:{'59' if leap else second}{zone.upper()}")
    except ValueError as error:
        raise Unreadable("not a time", f"{text!r}: {error}") from error
    at_ms = (moment - _EPOCH) // _MILLISECOND
    if leap:
        at_ms += 1000
        if at_ms % _DAY_MS:
            raise Unreadable("not a time", f"{text!r}: a leap second can only be at 23:59:60 UTC")
    return at_ms + fraction_ms(at_ms, fraction)


def epoch_ms(number: float) -> int:
    """Read a number of s, ms, µs or ns since 1970 as UTC milliseconds.

    Its size shows the unit: below 1e11 seconds, below 1e14 milliseconds, below 1e17 microseconds, else nanoseconds.
    """
    size = abs(number)
    if size < _SECONDS_BELOW:
        return seconds_ms(number)
    if size < _MILLISECONDS_BELOW:
        return _rounded_ms(round(number * 1000))
    return _rounded_ms(round(number) if size < _MICROSECONDS_BELOW else (round(number) + 500) // 1000)


def seconds_ms(seconds: float) -> int:
    """Round seconds to the microsecond, and then to the nearest millisecond, a half up.

    A double holds the seconds since 1970 to a quarter of a microsecond. Without the first step .1235 s would become 123
    or 124 ms, depending on which side of it the nearest double is.
    """
    return _rounded_ms(round(seconds * 1_000_000))


def fraction_ms(second_ms: int, fraction: str) -> int:
    """Convert the digits after a second to milliseconds, rounded as ``seconds_ms`` rounds.

    second_ms: that second [UTC ms]; fraction: such as ``.1235``, or empty.
    """
    if not fraction:
        return 0
    return seconds_ms(float(Decimal(second_ms // 1000) + Decimal(fraction))) - second_ms


def _rounded_ms(microseconds: int) -> int:
    return (microseconds + 500) // 1000


# ---- from people and tables ----------------------------------------------------------------------------------------


def moment_of(text: str, zone: ZoneInfo) -> int:
    """Read what a person writes as UTC milliseconds; a date alone is its midnight, a time without a zone is local.

    Raises IngestError for anything else, Ambiguous for a local time that occurs twice at a clock change, Skipped for
    one that it skips.
    """
    match = _FORM.fullmatch(text.strip())
    if match is None:
        raise IngestError(f"'{text}' is not a time; write {_ALLOWED}")
    if int(match["zone_minutes"] or 0) > 59:  # Python takes +01:60 for +02:00
        raise IngestError(f"'{text}' is not a time (a zone has minutes from 00 to 59); write {_ALLOWED}")
    try:
        moment = datetime.fromisoformat(f"{match['date']}T{match['time'] or '00:00'}{(match['zone'] or '').upper()}")
    except ValueError as error:
        raise IngestError(f"'{text}' is not a time ({error}); write {_ALLOWED}") from error
    if moment.tzinfo is None:
        moment = _local(moment, zone, text)
    second_ms = (moment.replace(microsecond=0) - _EPOCH) // _MILLISECOND
    return second_ms + fraction_ms(second_ms, match["fraction"] or "")


def spoken_moment(text: str, zone: ZoneInfo, now_ms: int) -> int:
    """Read the time of something that happened, as a person writes it that day or later, as UTC milliseconds.

    Besides what ``moment_of`` takes there are "now", "18:30" (today), "yesterday 18:30" and "yesterday". A date without
    a time means that day at noon, or now if it is today's date, since then something was just done.
    Raises IngestError for anything else, Ambiguous for a local time that occurs twice at a clock change, Skipped for
    one that it skips.
    """
    plain = " ".join(text.split())
    if plain.lower() == "now":
        return now_ms
    match = _SPOKEN.fullmatch(plain)
    if match is None or not plain:
        if _FORM.fullmatch(plain) is None:
            raise IngestError(f"'{text}' is not a time; write {_SPOKEN_ALLOWED}")
        return moment_of(plain, zone)
    today = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone).date()
    if match["date"] is not None:
        day = match["date"]
    else:
        day = (today - timedelta(days=(match["day"] or "").lower() == "yesterday")).isoformat()
    if match["time"] is None and day == today.isoformat():
        return now_ms
    hour, rest = (match["time"] or "12:00").split(":", 1)
    return moment_of(f"{day} {hour.rjust(2, '0')}:{rest}", zone)


def bound_of(text: str, zone: ZoneInfo, now_ms: int) -> int:
    """Read where a span of time begins or ends, as a person writes it, as UTC milliseconds.

    As ``spoken_moment``, but a day without a time is its midnight, so that bounds separate whole days.
    Raises IngestError, Ambiguous, Skipped.
    """
    plain = " ".join(text.split()).lower()
    today = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone).date()
    days = {"today": today, "yesterday": today - timedelta(days=1)}
    if plain in days:
        return moment_of(days[plain].isoformat(), zone)
    if _FORM.fullmatch(plain) is not None:
        return moment_of(plain, zone)
    return spoken_moment(text, zone, now_ms)


def _local(moment: datetime, zone: ZoneInfo, text: str) -> datetime:
    earlier, later = moment.replace(tzinfo=zone, fold=0), moment.replace(tzinfo=zone, fold=1)
    before, after = earlier.utcoffset() or timedelta(0), later.utcoffset() or timedelta(0)
    if before == after or ":" not in text:
        return earlier
    if before < after:
        change = clock_change(zone, (moment - after).replace(tzinfo=UTC), (moment - before).replace(tzinfo=UTC))
        left, went_on = (change + before).replace(tzinfo=None), (change + after).replace(tzinfo=None)
        form = "%H:%M" if left.date() == went_on.date() else "%Y-%m-%d %H:%M"
        last, first = left.strftime(form), went_on.strftime(form)
        what = f"'{text}' was skipped when the clocks went from {last} to {first}"
        raise Skipped(f"{what}; write a time before {last} or from {first} on", ())
    ways = tuple(f"{text.strip()}{candidate.isoformat()[-6:]}" for candidate in (earlier, later))
    raise Ambiguous(
        f"'{text}' occurred twice when the clocks changed; say which: " + " or ".join(f'"{way}"' for way in ways),
        ways,
    )


def clock_change(zone: tzinfo, low: datetime, high: datetime) -> datetime:
    """Find the moment (UTC, to the second) at which a zone's offset changes; low and high: UTC, before and after it."""
    before = low.astimezone(zone).utcoffset()
    while high - low > timedelta(seconds=1):
        middle = low + (high - low) / 2
        if middle.astimezone(zone).utcoffset() == before:
            low = middle
        else:
            high = middle
    return high.replace(microsecond=0)


def short_day(at_ms: int, now_ms: int, zone: tzinfo) -> str:
    """Give the day of a time [UTC ms] as people write it, such as "3 Nov", with the year unless it is that of now."""
    day, now = (datetime.fromtimestamp(each_ms // 1000, UTC).astimezone(zone).date() for each_ms in (at_ms, now_ms))
    return f"{day.day} {day:%b}" if day.year == now.year else f"{day.day} {day:%b %Y}"
