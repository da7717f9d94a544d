"""Summaries by minute, hour and day: count, lowest, highest, mean, first, last, worst quality. Pure, over arrays.

Values are those of readings that are not bad; a span with bad readings only has count 0 and no values, so that a chart
shows a gap and the worst quality says why. Spans are those of UTC.
"""

from __future__ import annotations

__all__ = ["LEVELS", "Level", "Summary", "coarser", "pack_summary", "summarise", "unpack_summary"]

import struct
from collections.abc import Sequence
from typing import Final, Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from ingest.store.readings.block import Arrays, BlockUnreadable, pack, unpack

Level = Literal["minute", "hour", "day"]

_LENGTH: Final = struct.Struct("<I")

LEVELS: Final[dict[str, int]] = {"minute": 60_000, "hour": 3_600_000, "day": 86_400_000}
"""Level -> its span in ms, from fine to coarse."""


class Summary(NamedTuple):
    """One row for each span that has readings, in order of time. from_ms: where the span begins (UTC ms, int64);
    readings: how many are not bad; low, high, mean, first, last: of their values, NaN where there are none; worst: the
    worst class of quality in the span (0 good, 1 uncertain, 2 bad)."""

    from_ms: npt.NDArray[np.int64]
    readings: npt.NDArray[np.int64]
    low: npt.NDArray[np.float64]
    high: npt.NDArray[np.float64]
    mean: npt.NDArray[np.float64]
    first: npt.NDArray[np.float64]
    last: npt.NDArray[np.float64]
    worst: npt.NDArray[np.int64]

    @classmethod
    def empty(cls) -> Summary:
        """No spans."""
        integers, floats = np.empty(0, np.int64), np.empty(0, np.float64)
        return cls(integers, integers, floats, floats, floats, floats, floats, integers)

    @classmethod
    def joined(cls, pieces: Sequence[Summary]) -> Summary:
        """Pieces one behind the other."""
        return cls._make(map(np.concatenate, zip(*pieces, strict=True))) if pieces else cls.empty()

    def part(self, where: npt.NDArray[np.intp] | npt.NDArray[np.bool_]) -> Summary:
        """The spans at some indices, or where a mask is true."""
        return Summary._make(column[where] for column in self)

    def between(self, from_ms: int, to_ms: int) -> Summary:
        """Only the spans that begin at from_ms or later and before to_ms."""
        return self.part((self.from_ms >= from_ms) & (self.from_ms < to_ms))


def summarise(values: Arrays, span_ms: int) -> Summary:
    """Summaries of values (times rising, ``number`` in our unit) over spans of span_ms."""
    if not len(values.at_ms):
        return Summary.empty()
    spans = values.at_ms // span_ms
    classes = (values.quality & 3).astype(np.int64)
    begins = _run_starts(spans)
    worst = np.maximum.reduceat(classes, begins)
    no_values = np.full((5, len(begins)), np.nan)
    summary = Summary._make((spans[begins] * span_ms, np.zeros(len(begins), np.int64), *no_values, worst))
    sound = classes < 2
    if not sound.any():
        return summary
    numbers, sound_spans = values.number[sound], spans[sound]
    starts = _run_starts(sound_spans)
    ends = np.concatenate((starts[1:], [len(numbers)]))
    counts, firsts = ends - starts, numbers[starts]
    rows = np.searchsorted(spans[begins], sound_spans[starts])
    summary.readings[rows] = counts
    summary.low[rows] = np.minimum.reduceat(numbers, starts)
    summary.high[rows] = np.maximum.reduceat(numbers, starts)
    # The sum of what is left after the first value: a mean of equal values is that value to the last bit.
    summary.mean[rows] = firsts + np.add.reduceat(numbers - np.repeat(firsts, counts), starts) / counts
    summary.first[rows] = firsts
    summary.last[rows] = numbers[ends - 1]
    return summary


def coarser(rows: Summary, span_ms: int) -> Summary:
    """Summaries of longer spans from those of shorter ones that lie wholly within them; the mean weighs readings."""
    if not len(rows.from_ms):
        return rows
    spans = rows.from_ms // span_ms
    begins = _run_starts(spans)
    no_values = np.full((5, len(begins)), np.nan)
    worst = np.maximum.reduceat(rows.worst, begins)
    joined = Summary._make((spans[begins] * span_ms, np.zeros(len(begins), np.int64), *no_values, worst))
    sound = rows.part(rows.readings > 0)
    if not len(sound.from_ms):
        return joined
    sound_spans = sound.from_ms // span_ms
    starts = _run_starts(sound_spans)
    ends = np.concatenate((starts[1:], [len(sound_spans)]))
    places = np.searchsorted(spans[begins], sound_spans[starts])
    counts = np.add.reduceat(sound.readings, starts)
    firsts = sound.mean[starts]
    joined.readings[places] = counts
    joined.low[places] = np.minimum.reduceat(sound.low, starts)
    joined.high[places] = np.maximum.reduceat(sound.high, starts)
    # As in ``summarise``: what is left after the first, so that equal means stay equal to the last bit.
    rest = (sound.mean - np.repeat(firsts, ends - starts)) * sound.readings
    joined.mean[places] = firsts + np.add.reduceat(rest, starts) / counts
    joined.first[places] = sound.first[starts]
    joined.last[places] = sound.last[ends - 1]
    return joined


def _run_starts(spans: npt.NDArray[np.int64]) -> npt.NDArray[np.intp]:
    """The indices at which a new span begins."""
    return np.flatnonzero(np.concatenate(([True], spans[1:] != spans[:-1])))


def pack_summary(summary: Summary) -> bytes:
    """Summaries as bytes, for the many of a day's minutes; they come back bit for bit.

    They are packed as readings are, see ``block``: lowest, highest, first and last are readings, and pack as decimals
    where readings do. Of spans without readings no values are kept. At most 65,535 readings in a span.
    """
    valued = summary.readings > 0
    zeros = np.zeros(np.count_nonzero(valued), np.uint16)
    count = np.arange(len(zeros), dtype=np.int64)
    parts = [pack(Arrays(summary.from_ms, summary.worst.astype(np.float64), summary.readings.astype(np.uint16)))]
    parts += [pack(Arrays(count, column[valued], zeros)) for column in summary[2:7]]
    return b"".join(_LENGTH.pack(len(part)) + part for part in parts)


def unpack_summary(data: bytes) -> Summary:
    """The summaries again. Raises BlockUnreadable."""
    parts, place = [], 0
    for _ in range(6):
        if place + _LENGTH.size > len(data):
            raise BlockUnreadable("a packed summary is damaged: it ends too soon")
        (length,) = _LENGTH.unpack_from(data, place)
        place += _LENGTH.size
        parts.append(unpack(data[place : place + length]))
        place += length
    spans, *columns = parts
    readings = spans.quality.astype(np.int64)
    valued = readings > 0
    if any(len(column.number) != np.count_nonzero(valued) for column in columns):
        raise BlockUnreadable("a packed summary is damaged: its columns are not of one length")
    values = np.full((len(columns), len(readings)), np.nan)
    for index, column in enumerate(columns):
        values[index, valued] = column.number
    return Summary._make((spans.at_ms, readings, *values, spans.number.astype(np.int64)))
