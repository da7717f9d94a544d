"""A time in a table of text as UTC milliseconds: RFC 3339, local date and time, Unix seconds or milliseconds."""

from __future__ import annotations

__all__ = ["EARLIEST_MS", "LEAST_MILLISECONDS", "LEAST_SECONDS", "Moments"]

import re
from typing import Final
from zoneinfo import ZoneInfo

from ingest.errors import IngestError, Unreadable
from ingest.times import Ambiguous, moment_of

EARLIEST_MS: Final = 946_684_800_000
"""2000-01-01T00:00:00Z: a clock that was never set says less."""

# A bare number is a time from 1970. So many seconds are the year 1973, so many milliseconds as well; in between lie all
# seconds up to the year 5138. Less is no time: a row number, a year, the hours of a run.
LEAST_SECONDS: Final = 100_000_000
LEAST_MILLISECONDS: Final = 100_000_000_000

_BARE: Final = re.compile(r"(\d{9,13})(?:\.(\d{1,9}))?")
_DATED: Final = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2})(?::([0-5]\d)(?:\.(\d{1,9}))?)?(?: ?([Zz]|[+-]\d{2}:?\d{2}))?"
)
# Rows stand close together in time, so the minute of the one before is often that of the next.
_MINUTES_KEPT: Final = 4096


class Moments:
    """Reads times for one table. zone: of times that name none; now_ms: UTC ms, later ones are refused."""

    def __init__(self, zone: ZoneInfo, now_ms: int, earliest_ms: int = EARLIEST_MS) -> None:
        self._zone = zone
        self._now_ms = now_ms
        self._earliest_ms = max(earliest_ms, EARLIEST_MS)
        self._wished = earliest_ms > EARLIEST_MS
        self._minutes: dict[tuple[str, str, str | None], int] = {}

    def at_ms(self, text: str) -> int:
        """UTC milliseconds of a cell.

        Raises Unreadable with one of the reasons ``no time``, ``ambiguous local time`` (one that the clocks passed
        twice or skipped), ``in the future``, ``before 2000`` and ``older than keep_raw``.
        """
        text = text.strip()
        found = _DATED.fullmatch(text)
        at_ms = self._bare(text) if found is None else self._dated(text, found)
        if at_ms > self._now_ms:
            raise Unreadable("in the future", text)
        if at_ms < self._earliest_ms:
            raise Unreadable("older than keep_raw" if self._wished and at_ms >= EARLIEST_MS else "before 2000", text)
        return at_ms

    def _dated(self, text: str, found: re.Match[str]) -> int:
        date, minute, second, fraction, zone = found.groups()
        key = (date, minute, zone)
        base = self._minutes.get(key)
        if base is None:
            base = self._minute(text, date, minute, zone)
            if len(self._minutes) >= _MINUTES_KEPT:
                self._minutes.clear()
            self._minutes[key] = base
        if second is None:
            return base
        base += 1000 * int(second)
        return base if fraction is None else base + round(1000 * float(f"0.{fraction}"))

    def _minute(self, text: str, date: str, minute: str, zone: str | None) -> int:
        if zone is not None and zone not in "Zz" and ":" not in zone:
            zone = f"{zone[:3]}:{zone[3:]}"
        try:
            return moment_of(f"{date} {minute}{(zone or '').upper()}", self._zone)
        except Ambiguous as error:
            raise Unreadable("ambiguous local time", str(error)) from None
        except IngestError:
            raise Unreadable("no time", f"'{text}' does not exist") from None

    @staticmethod
    def _bare(text: str) -> int:
        found = _BARE.fullmatch(text)
        if found is None or int(found[1]) < LEAST_SECONDS:
            raise Unreadable("no time", ascii(text[:40]) if text else "the cell is empty")
        whole, fraction = int(found[1]), float(f"0.{found[2] or 0}")
        if whole >= LEAST_MILLISECONDS:
            return round(whole + fraction)
        return 1000 * whole + round(1000 * fraction)
