"""Moments: UTC milliseconds as ISO 8601 text, and what a person writes at a command line as UTC milliseconds."""

from __future__ import annotations

__all__ = ["END_OF_TIME_MS", "Ambiguous", "Skipped", "iso_utc", "moment_of", "spoken_moment"]

import re
from datetime import UTC, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from ingest.errors import IngestError

# Later than any moment that is stored, for spans without an end [UTC ms]; it leaves room to add to in 64 bits.
END_OF_TIME_MS: Final = 1 << 62

_FORM = re.compile(
    r"(?P<date>\d{4}-\d{2}-\d{2})"
    r"(?:[T ](?P<time>\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?)\s*(?P<zone>Z|[+-]\d{2}:\d{2})?)?",
    re.ASCII,
)
_ALLOWED = 'a date such as 2026-11-25, or date and time such as "2026-11-25 18:30", with Z or +01:00 if not cellar time'


_SPOKEN = re.compile(
    r"(?:(?P<day>today|yesterday)|(?P<date>\d{4}-\d{2}-\d{2}))?(?:(?:^|[T ])\s*(?P<time>\d{1,2}:\d{2}(?::\d{2})?))?",
    re.ASCII | re.IGNORECASE,
)
_SPOKEN_ALLOWED = 'today, yesterday, 18:30, "yesterday 18:30", ' + _ALLOWED


class Ambiguous(IngestError):
    """A local time that the clock passed twice; ways: how to write the two moments that may be meant."""

    def __init__(self, message: str, ways: tuple[str, ...]) -> None:
        self.ways = ways
        super().__init__(message)


class Skipped(Ambiguous):
    """A local time that never was, since the clock went on past it: there is nothing to choose from, ways is empty."""


def iso_utc(at_ms: int) -> str:
    """UTC milliseconds as ``2026-11-25T18:30:00.000Z`` (RFC 3339)."""
    moment = datetime.fromtimestamp(at_ms // 1000, UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{at_ms % 1000:03d}Z"


def moment_of(text: str, zone: ZoneInfo) -> int:
    """What a person writes as UTC milliseconds; a date alone is its midnight, a time without zone is cellar time.

    Raises IngestError for anything else, Ambiguous for a local time that a clock change makes double, Skipped for one
    that it leaves out.
    """
    found = _FORM.fullmatch(text.strip())
    if found is None:
        raise IngestError(f"'{text}' is no time; write {_ALLOWED}")
    try:
        moment = datetime.fromisoformat(f"{found['date']}T{found['time'] or '00:00'}{found['zone'] or ''}")
    except ValueError as error:
        raise IngestError(f"'{text}' is no time ({error}); write {_ALLOWED}") from error
    if moment.tzinfo is None:
        moment = _local(moment, zone, text)
    return round((moment - datetime(1970, 1, 1, tzinfo=UTC)) / timedelta(milliseconds=1))


def spoken_moment(text: str, zone: ZoneInfo, now_ms: int) -> int:
    """When something happened, as a person says it on the day or later, as UTC milliseconds.

    Besides what ``moment_of`` takes there are "now", "18:30" (today), "yesterday 18:30" and "yesterday". A date without
    a time is that day at noon; today it is now, since a person who writes today's date means what was just done.
    Raises IngestError for anything else, Ambiguous for a local time that a clock change makes double, Skipped for one
    that it leaves out.
    """
    plain = " ".join(text.split())
    if plain.lower() == "now":
        return now_ms
    found = _SPOKEN.fullmatch(plain)
    if found is None or not plain:
        if _FORM.fullmatch(plain) is None:
            raise IngestError(f"'{text}' is no time; write {_SPOKEN_ALLOWED}")
        return moment_of(plain, zone)
    today = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone).date()
    if found["date"] is not None:
        day = found["date"]
    else:
        day = (today - timedelta(days=(found["day"] or "").lower() == "yesterday")).isoformat()
    if found["time"] is None and day == today.isoformat():
        return now_ms
    hour, rest = (found["time"] or "12:00").split(":", 1)
    return moment_of(f"{day} {hour.rjust(2, '0')}:{rest}", zone)


def _local(moment: datetime, zone: ZoneInfo, text: str) -> datetime:
    earlier, later = moment.replace(tzinfo=zone, fold=0), moment.replace(tzinfo=zone, fold=1)
    before, after = earlier.utcoffset() or timedelta(0), later.utcoffset() or timedelta(0)
    if before == after or ":" not in text:
        return earlier
    if before < after:
        left, went_on = _skipped_span(moment, zone, before, after)
        form = "%H:%M" if left.date() == went_on.date() else "%Y-%m-%d %H:%M"
        last, first = left.strftime(form), went_on.strftime(form)
        what = f"'{text}' was skipped when the clocks went from {last} to {first}"
        raise Skipped(f"{what}; write a time before {last} or from {first} on", ())
    ways = tuple(f"{text.strip()}{candidate.isoformat()[-6:]}" for candidate in (earlier, later))
    raise Ambiguous(
        f"'{text}' was passed twice when the clocks changed; say which: " + " or ".join(f'"{way}"' for way in ways),
        ways,
    )


def _skipped_span(moment: datetime, zone: ZoneInfo, before: timedelta, after: timedelta) -> tuple[datetime, datetime]:
    """The local times at which the clock stopped and went on around a moment (local, without zone) that it skipped."""
    low, high = (moment - after).replace(tzinfo=UTC), (moment - before).replace(tzinfo=UTC)
    while high - low > timedelta(seconds=1):
        middle = low + (high - low) // 2
        if middle.astimezone(zone).utcoffset() == before:
            low = middle
        else:
            high = middle
    change = (high + timedelta(milliseconds=1)).replace(second=0, microsecond=0)
    return (change + before).replace(tzinfo=None), (change + after).replace(tzinfo=None)
