"""Readings of a blanket as means over ever longer times the older they are: what a slow leak is looked for in.

The last half day is kept by 20 minutes, three days by the hour, what is older by four hours, up to 24 days. A leak that
empties a vessel in hours needs the first, one that takes weeks the last, and all together are some 200 rows.
"""

from __future__ import annotations

__all__ = ["BIN_MS", "BinArrays", "BlanketBins"]

from collections import deque
from typing import Final, NamedTuple

import numpy as np

from alerts.gas.blanket_facts import BlanketPoint
from alerts.gas.wine_tables import Floats

BIN_MS: Final = 20 * 60_000
_HOUR_MS: Final = 3 * BIN_MS
_LONG_MS: Final = 4 * _HOUR_MS
_FINE_MS: Final = 12 * _HOUR_MS
_MIDDLE_MS: Final = 72 * _HOUR_MS
_OLDEST_MS: Final = 24 * 24 * _HOUR_MS


class _Bin(NamedTuple):
    """Sums over a bin: times after the bin's start [ms], values, squares of the pressure; and how many there are."""

    start_ms: int
    length_ms: int
    segment: int
    points: int
    at_ms: float
    pressure: float
    squares: float
    temperature: float
    barometer: float
    barometers: int
    room: float
    rooms: int


class BinArrays(NamedTuple):
    """Means over the bins, oldest first.

    barometer_kpa and room_c have NaN where there is none; noise_kpa is the standard uncertainty of the mean pressure by
    the scatter within the bin, NaN for a single point; segment counts the jumps before the bin.
    """

    at_ms: Floats
    pressure_kpa: Floats
    temperature_c: Floats
    barometer_kpa: Floats
    room_c: Floats
    noise_kpa: Floats
    segment: Floats


class BlanketBins:
    """The bins of one episode."""

    def __init__(self) -> None:
        self._open: _Bin | None = None
        self._segment = 0
        self._fine: deque[_Bin] = deque()
        self._middle: deque[_Bin] = deque()
        self._coarse: deque[_Bin] = deque()

    def __len__(self) -> int:
        return len(self._fine) + len(self._middle) + len(self._coarse)

    def add(self, point: BlanketPoint) -> bool:
        """Take a point, later than those before. True if it closed a bin."""
        start_ms = point.at_ms - point.at_ms % BIN_MS
        new = _of_point(point, start_ms, self._segment)
        before, self._open = self._open, new
        if before is None:
            return False
        if before.start_ms == start_ms:
            self._open = _joined(before, new, start_ms, BIN_MS)
            return False
        self._fine.append(before)
        self._age(start_ms)
        return True

    def split(self, before_ms: int, after_ms: int) -> None:
        """Begin a new segment between two times; bins that reach into it are dropped."""
        self._segment += 1
        for name in ("_coarse", "_middle", "_fine"):
            queue: deque[_Bin] = getattr(self, name)
            kept = [_after_split(each, before_ms, after_ms) for each in queue]
            setattr(self, name, deque(each for each in kept if each is not None))
        if self._open is not None:
            self._open = _after_split(self._open, before_ms, after_ms)

    @property
    def segment(self) -> int:
        """How many jumps there were."""
        return self._segment

    def drop_before(self, segment: int) -> None:
        """Forget all bins of earlier segments."""
        for queue in (self._coarse, self._middle, self._fine):
            while queue and queue[0].segment < segment:
                queue.popleft()

    def arrays(self) -> BinArrays:
        """Give the closed bins."""
        rows = np.array([_means(each) for queue in (self._coarse, self._middle, self._fine) for each in queue])
        return BinArrays(*rows.reshape(-1, 7).T)

    def _age(self, now_ms: int) -> None:
        _merge(self._fine, self._middle, now_ms - _FINE_MS, _HOUR_MS)
        _merge(self._middle, self._coarse, now_ms - _MIDDLE_MS, _LONG_MS)
        while self._coarse and self._coarse[0].start_ms < now_ms - _OLDEST_MS:
            self._coarse.popleft()


def _of_point(point: BlanketPoint, start_ms: int, segment: int) -> _Bin:
    barometer, room = point.barometer_kpa, point.room_c
    return _Bin(
        start_ms,
        BIN_MS,
        segment,
        1,
        float(point.at_ms - start_ms),
        point.pressure_kpa,
        point.pressure_kpa * point.pressure_kpa,
        point.temperature_c,
        0.0 if barometer is None else barometer,
        0 if barometer is None else 1,
        0.0 if room is None else room,
        0 if room is None else 1,
    )


def _after_split(each: _Bin, before_ms: int, after_ms: int) -> _Bin | None:
    end_ms = each.start_ms + each.length_ms
    if each.start_ms >= after_ms:
        return each._replace(segment=each.segment + 1)
    return each if end_ms <= before_ms else None


def _joined(first: _Bin, second: _Bin, start_ms: int, length_ms: int) -> _Bin:
    at_ms = first.at_ms + first.points * (first.start_ms - start_ms)
    at_ms += second.at_ms + second.points * (second.start_ms - start_ms)
    return _Bin(
        start_ms,
        length_ms,
        first.segment,
        first.points + second.points,
        at_ms,
        first.pressure + second.pressure,
        first.squares + second.squares,
        first.temperature + second.temperature,
        first.barometer + second.barometer,
        first.barometers + second.barometers,
        first.room + second.room,
        first.rooms + second.rooms,
    )


def _merge(young: deque[_Bin], old: deque[_Bin], before_ms: int, length_ms: int) -> None:
    """Move bins that end before a time into longer ones, as soon as the longer one is complete."""
    while young and young[0].start_ms - young[0].start_ms % length_ms + length_ms <= before_ms:
        moved = young.popleft()
        start_ms = moved.start_ms - moved.start_ms % length_ms
        if old and (old[-1].start_ms, old[-1].length_ms, old[-1].segment) == (start_ms, length_ms, moved.segment):
            old[-1] = _joined(old[-1], moved, start_ms, length_ms)
        else:
            shift = float(moved.points * (moved.start_ms - start_ms))
            old.append(moved._replace(start_ms=start_ms, length_ms=length_ms, at_ms=moved.at_ms + shift))


def _means(each: _Bin) -> tuple[float, ...]:
    count = each.points
    mean = each.pressure / count
    noise = float("nan")
    if count > 1:
        # A sum of squares loses digits; a variance below 0 is rounding.
        noise = (max(0.0, each.squares / count - mean * mean) / (count - 1)) ** 0.5
    return (
        each.start_ms + each.at_ms / count,
        mean,
        each.temperature / count,
        each.barometer / each.barometers if each.barometers else float("nan"),
        each.room / each.rooms if each.rooms else float("nan"),
        noise,
        float(each.segment),
    )
