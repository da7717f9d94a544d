"""The last day of a probe in quarter hours: the lowest and the highest reading of each, for a small picture."""

from __future__ import annotations

__all__ = ["DAY_MS", "SPAN_MS", "DayTrend", "day_trends"]

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from ingest.store import Store
from ingest.store.readings.summaries import summaries
from ingest.store.readings.summary import Summary

DAY_MS: Final = 86_400_000
SPAN_MS: Final = 900_000


@dataclass(frozen=True, slots=True)
class DayTrend:
    """The quarter hours of a day that have readings, in order of time.

    from_ms: where the first of the 96 begins, UTC ms; spans: which of them, from 0; low, high: of their readings that
    are not bad, in the quantity's unit.
    """

    from_ms: int
    spans: tuple[int, ...] = ()
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()

    @property
    def lowest(self) -> float:
        """The lowest of all; there must be some."""
        return min(self.low)

    @property
    def highest(self) -> float:
        """The highest of all; there must be some."""
        return max(self.high)


def day_trends(store: Store, series: Iterable[int], now_ms: int) -> Iterator[tuple[int, DayTrend]]:
    """Give each series with its last day, up to now (UTC ms), from its summaries by minute; no extreme is lost.

    Readings of a time that has not come yet are left out.
    """
    from_ms = now_ms // SPAN_MS * SPAN_MS - DAY_MS + SPAN_MS
    for number, minutes in summaries(store, series, from_ms, now_ms + 1, "minute"):
        yield number, _trend(minutes.part(minutes.readings > 0), from_ms)


def _trend(minutes: Summary, from_ms: int) -> DayTrend:
    if not len(minutes.from_ms):
        return DayTrend(from_ms)
    spans = (minutes.from_ms - from_ms) // SPAN_MS
    begins = np.flatnonzero(np.concatenate(([True], spans[1:] != spans[:-1])))
    return DayTrend(
        from_ms,
        tuple(spans[begins].tolist()),
        tuple(np.minimum.reduceat(minutes.low, begins).tolist()),
        tuple(np.maximum.reduceat(minutes.high, begins).tolist()),
    )
