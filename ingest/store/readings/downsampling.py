"""One history as summaries, for charts: source by source, at the coarsest level that has the points asked for."""

from __future__ import annotations

__all__ = ["BUCKETS_MS", "Buckets", "Downsampled", "SourceSummary", "bucketed", "downsample"]

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from ingest.store.change_feed import DROPPED, cursor
from ingest.store.connection import Store
from ingest.store.journal.hand_results import HandResult
from ingest.store.readings.history_sources import HistorySource
from ingest.store.readings.series_history import arrays
from ingest.store.readings.settling import DAY_MS
from ingest.store.readings.summaries import coarsest, summary
from ingest.store.readings.summary import LEVELS, Level, Summary, coarser, summarise

_FINE_TO_COARSE: Final[tuple[Level, ...]] = ("minute", "hour", "day")

_MINUTE_MS: Final = LEVELS["minute"]
_HOUR_MS: Final = LEVELS["hour"]

BUCKETS_MS: Final[tuple[int, ...]] = (
    *(seconds * 1000 for seconds in (1, 2, 5, 10, 20, 30)),
    *(minutes * _MINUTE_MS for minutes in (1, 2, 5, 10, 20, 30)),
    *(hours * _HOUR_MS for hours in (1, 2, 3, 6, 12)),
    *(days * DAY_MS for days in (1, 2, 7, 14, 28)),
)
"""The spans that ``bucketed`` chooses from, from fine to coarse, in ms; each is so many of a level's."""


class SourceSummary(NamedTuple):
    """One source's summaries: a row for each span that has readings; without a level, for each reading."""

    source: HistorySource
    rows: Summary


class Downsampled(NamedTuple):
    """level: minute, hour or day, None where each reading has its own row; sources: in the order in which they begin,
    those with rows; results: in the order in which they were found.
    """

    level: Level | None
    sources: tuple[SourceSummary, ...]
    results: tuple[HandResult, ...]


class Buckets(NamedTuple):
    """span_ms: of each row; a multiple of it since 1970 (UTC) begins each. sources: as in ``Downsampled``."""

    span_ms: int
    sources: tuple[SourceSummary, ...]


def bucketed(store: Store, sources: Sequence[HistorySource], from_ms: int, to_ms: int, most: int) -> Buckets:
    """Summaries of spans so long that at most about ``most`` of them lie between two times; see ``BUCKETS_MS``.

    No span loses an extreme. The spans that from_ms and to_ms lie in are given whole. Of days of which only coarser
    summaries are left there are fewer rows.
    """
    wanted_ms = (to_ms - from_ms) / most
    span_ms = next((span for span in BUCKETS_MS if span >= wanted_ms), BUCKETS_MS[-1])
    level = next((level for level in reversed(_FINE_TO_COARSE) if LEVELS[level] <= span_ms), None)
    dropped_ms = (cursor(store, DROPPED) or 0) * DAY_MS
    if level is None and from_ms < dropped_ms:
        level, span_ms = "minute", _MINUTE_MS
    summaries = []
    for source in sources:
        begin_ms, end_ms = _floor(from_ms, span_ms), _ceil(to_ms, span_ms)
        if level is None:
            rows = summarise(arrays(store, source.series, *source.within(begin_ms, end_ms)), span_ms)
        else:
            rows = coarser(_spans(store, source, begin_ms, end_ms, level, dropped_ms), span_ms)
        if len(rows.from_ms):
            summaries.append(SourceSummary(source, rows))
    return Buckets(span_ms, tuple(summaries))


def downsample(
    store: Store, sources: Sequence[HistorySource], results: Sequence[HandResult], from_ms: int, to_ms: int, points: int
) -> Downsampled:
    """The summaries of the spans that from_ms <= at < to_ms reaches into; see ``ingest.history.summary``."""
    dropped_ms = (cursor(store, DROPPED) or 0) * DAY_MS
    level = coarsest(from_ms, to_ms, points)
    if level is None and from_ms < dropped_ms:
        level = "minute"
    summaries = []
    for source in sources:
        if level is None:
            # Each reading is a span of its own; bad ones have no value.
            rows = summarise(arrays(store, source.series, *source.within(from_ms, to_ms)), 1)
        else:
            rows = _spans(store, source, from_ms, to_ms, level, dropped_ms)
        if len(rows.from_ms):
            summaries.append(SourceSummary(source, rows))
    return Downsampled(level, tuple(summaries), tuple(results))


def _spans(store: Store, source: HistorySource, from_ms: int, to_ms: int, level: Level, dropped_ms: int) -> Summary:
    """Whole spans as they are kept; those that the source begins or ends in, from the readings that are in it."""
    span_ms = LEVELS[level]
    begin_ms, end_ms = source.within(_floor(from_ms, span_ms), _ceil(to_ms, span_ms))
    first, last = _ceil(begin_ms, span_ms), _floor(end_ms, span_ms)
    if first > last:  # within one span
        return _edge(store, source.series, begin_ms, end_ms, level)
    return Summary.joined(
        [
            _edge(store, source.series, begin_ms, first, level),
            _whole_spans(store, source.series, first, last, level, dropped_ms),
            _edge(store, source.series, last, end_ms, level),
        ]
    )


def _whole_spans(store: Store, series: int, from_ms: int, to_ms: int, level: Level, dropped_ms: int) -> Summary:
    """Summaries of a level; of days of which only coarser ones are left, these."""
    rows = summary(store, series, from_ms, to_ms, level)
    if from_ms >= dropped_ms:
        return rows
    for next_level in _FINE_TO_COARSE[_FINE_TO_COARSE.index(level) + 1 :]:
        left = summary(store, series, from_ms, min(to_ms, dropped_ms), next_level)
        rows = Summary.joined([rows, left.part(~np.isin(left.from_ms // DAY_MS, rows.from_ms // DAY_MS))])
    return rows.part(np.argsort(rows.from_ms, kind="stable"))


def _edge(store: Store, series: int, from_ms: int, to_ms: int, level: Level) -> Summary:
    """The part of one span, from its readings, or where these were dropped from the finest summaries that are left."""
    span_ms = LEVELS[level]
    rows = summarise(arrays(store, series, from_ms, to_ms), span_ms)
    for finer in _FINE_TO_COARSE[: _FINE_TO_COARSE.index(level)]:
        if len(rows.from_ms):
            break
        parts = summary(store, series, _ceil(from_ms, LEVELS[finer]), _floor(to_ms, LEVELS[finer]), finer)
        rows = coarser(parts, span_ms)
    return rows


def _floor(at_ms: int, span_ms: int) -> int:
    return at_ms // span_ms * span_ms


def _ceil(at_ms: int, span_ms: int) -> int:
    return -(-at_ms // span_ms) * span_ms
