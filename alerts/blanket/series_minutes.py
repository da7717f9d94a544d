"""Means over the minutes of one series, as its readings come. Pure."""

from __future__ import annotations

__all__ = ["MINUTE_MS", "MinuteMean", "SeriesMinutes"]

from bisect import bisect_right
from typing import Final, NamedTuple

MINUTE_MS: Final = 60_000


class MinuteMean(NamedTuple):
    """The mean of a minute's readings (the minute that begins at minute x 60 s, UTC), and of their times [UTC ms]."""

    minute: int
    at_ms: int
    value: float


class SeriesMinutes:
    """The newest minutes of a series. after_id: rows of the store up to this one are in them, or in what was read of
    the past.
    """

    __slots__ = ("_count", "_means", "_minute", "_times", "_values", "after_id", "earliest")

    def __init__(self, after_id: int) -> None:
        self.after_id = after_id
        # The earliest minute that came since ``note_taken``.
        self.earliest: int | None = None
        self._means: list[MinuteMean] = []
        self._minute = self._count = self._times = 0
        self._values = 0.0

    def add(self, at_ms: int, value: float) -> None:
        """Take a reading; one of a minute that is over changes no mean, but is noted in ``earliest``."""
        minute = at_ms // MINUTE_MS
        if self.earliest is None or minute < self.earliest:
            self.earliest = minute
        if minute > self._minute:
            self._close()
            self._minute = minute
        elif minute < self._minute:
            return
        self._count += 1
        self._times += at_ms - minute * MINUTE_MS
        self._values += value

    def _close(self) -> None:
        if self._count:
            self._means.append(self._open_mean())
            self._count = self._times = 0
            self._values = 0.0

    def _open_mean(self) -> MinuteMean:
        at_ms = self._minute * MINUTE_MS + self._times // self._count
        return MinuteMean(self._minute, at_ms, self._values / self._count)

    def between(self, after: int, before: int) -> list[MinuteMean]:
        """List the means of minutes after one and before another; the newest minute is as far as it is read."""
        means = [mean for mean in self._means if after < mean.minute < before]
        if self._count and after < self._minute < before:
            means.append(self._open_mean())
        return means

    def newest(self, minute: int) -> MinuteMean | None:
        """Find the mean of a minute, else the one before it; None if there is none."""
        if self._count and self._minute <= minute:
            return self._open_mean()
        place = bisect_right(self._means, minute, key=_minute_of) - 1
        return self._means[place] if place >= 0 else None

    def forget(self, before: int) -> None:
        """Drop the means of minutes before one, but never the newest."""
        keep = bisect_right(self._means, before - 1, key=_minute_of)
        if keep and not self._count:
            keep = min(keep, len(self._means) - 1)
        del self._means[:keep]

    def note_taken(self) -> None:
        """Begin to note the earliest minute again."""
        self.earliest = None


def _minute_of(mean: MinuteMean) -> int:
    return mean.minute
