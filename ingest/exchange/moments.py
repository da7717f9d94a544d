"""Times in a table of text as UTC milliseconds: RFC 3339, local date and time in several orders, Unix time."""

from __future__ import annotations

__all__ = ["DATE_ORDERS", "DateOrder", "Moments"]

import re
from typing import Final, Literal
from zoneinfo import ZoneInfo

from ingest.errors import IngestError, Unreadable
from ingest.times import EARLIEST_MS, Ambiguous, epoch_ms, fraction_ms, moment_of

# A bare number counts as a time from 1973 on. A smaller one is something else: a row number, a year, operating hours.
_LEAST_SECONDS: Final = 100_000_000

_BARE: Final = re.compile(r"(\d{9,13})(?:\.(\d{1,9}))?", re.ASCII)
# Date and minute, seconds and their fraction, zone.
_DATED: Final = re.compile(
    r"(\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2})(?::([0-5]\d)(\.\d{1,9})?)?( ?(?:[Zz]|[+-]\d{2}:?\d{2}))?", re.ASCII
)
# Day, month and year with dots, which stand for the day first wherever they are written so (common practice, as in
# DIN 1355-1, from memory); or with slashes, which stand for either.
_OTHER: Final = re.compile(
    r"(\d{1,2})([./])(\d{1,2})\2(\d{4})(?:[Tt, ]\s*(\d{1,2}):(\d{2})(:\d{2})?\s*([AaPp][Mm])?)?", re.ASCII
)
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_NOON: Final = "12:00"

DateOrder = Literal["day-first", "month-first"]
DATE_ORDERS: Final[tuple[DateOrder, ...]] = ("day-first", "month-first")
"""What the first number of a date with slashes is."""

# Rows are close together in time, so the minute of one is often that of the next. With the last minutes kept, reading a
# cell takes a quarter of the time.
_MINUTES_KEPT: Final = 4096


class Moments:
    """Reads the times of one table.

    zone: that of times that name none; now_ms: UTC ms, later times are refused; order: of dates with slashes, without
    it they are refused; noon: a date alone is taken as its noon.
    """

    def __init__(
        self,
        zone: ZoneInfo,
        now_ms: int,
        earliest_ms: int = EARLIEST_MS,
        *,
        order: DateOrder | None = None,
        noon: bool = False,
    ) -> None:
        self._order = order
        self._noon = noon
        self._zone = zone
        self._now_ms = now_ms
        self._earliest_ms = max(earliest_ms, EARLIEST_MS)
        self._wished = earliest_ms > EARLIEST_MS
        self._minutes: dict[tuple[str, str | None], int] = {}

    def at_ms(self, text: str) -> int:
        """Read a cell as UTC milliseconds.

        Raises Unreadable with one of the reasons ``not a time``, ``ambiguous local time`` (one that occurs twice or is
        skipped when the clocks change), ``in the future``, ``before 2000``, ``older than keep_raw`` and ``day or
        month first?`` (a date with slashes without an order).
        """
        text = text.strip()
        match = _DATED.fullmatch(text) or _DATED.fullmatch(self._in_order(text))
        at_ms = _bare(text) if match is None else self._dated(text, *match.groups())
        if at_ms > self._now_ms:
            raise Unreadable("in the future", text)
        if at_ms < self._earliest_ms:
            raise Unreadable("older than keep_raw" if self._wished and at_ms >= EARLIEST_MS else "before 2000", text)
        return at_ms

    def _in_order(self, text: str) -> str:
        """The date and time in the order of RFC 3339, if they are ones in another order or a date alone."""
        if self._noon and _DAY.fullmatch(text):
            return f"{text} {_NOON}"
        match = _OTHER.fullmatch(text)
        if match is None:
            return text
        first, mark, second, year, hour, minute, seconds, half = match.groups()
        if mark == "/" and self._order is None:
            raise Unreadable("day or month first?", f"'{text}': --dates says which")
        month_first = mark == "/" and self._order == "month-first"
        day, month = (second, first) if month_first else (first, second)
        if hour is None and not self._noon:
            raise Unreadable("not a time", f"'{text}' has no time of day")
        clock = _NOON if hour is None else f"{_hour(hour, half, text):02d}:{minute}{seconds or ''}"
        return f"{year}-{int(month):02d}-{int(day):02d} {clock}"

    def _dated(self, text: str, minute: str, second: str | None, fraction: str | None, zone: str | None) -> int:
        at_ms = self._minutes.get((minute, zone))
        if at_ms is None:
            try:
                at_ms = moment_of(minute + (zone or ""), self._zone)
            except Ambiguous as error:
                raise Unreadable("ambiguous local time", str(error)) from None
            except IngestError:
                raise Unreadable("not a time", f"'{text}' does not exist") from None
            if len(self._minutes) >= _MINUTES_KEPT:
                self._minutes.clear()
            self._minutes[minute, zone] = at_ms
        if second is not None:
            at_ms += 1000 * int(second)
        return at_ms if fraction is None else at_ms + fraction_ms(at_ms, fraction)


def _hour(hour: str, half: str | None, text: str) -> int:
    """The hour of a day, of a clock of twelve hours with its half of the day."""
    if half is None:
        return int(hour)
    if not 1 <= int(hour) <= 12:
        raise Unreadable("not a time", f"'{text}' does not exist")
    return int(hour) % 12 + (12 if half.lower() == "pm" else 0)


def _bare(text: str) -> int:
    match = _BARE.fullmatch(text)
    if match is None or int(match[1]) < _LEAST_SECONDS:
        raise Unreadable("not a time", ascii(text[:40]) if text else "the cell is empty")
    return epoch_ms(float(text) if match[2] else int(text))
