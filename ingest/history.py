"""History: what was read and found of a probe, of a quantity at a place, or of a lot wherever it lay.

Every question names its subject: ``OfProbe("k1-pressure")``, ``OfPlace("K1", "temperature")`` or
``OfLot("malvasia-2026", "free_so2")``. Times are UTC ms, spans are from_ms <= at < to_ms, all time by default. Values
are in the quantity's unit, through the dated scale. Results of the journal belong to their entries; those of struck
entries are left out unless they are asked for.

The work is done in ``ingest.store.readings``: ``history_sources`` (which readings belong to a subject), ``merge``
(readings and results in order of time), ``downsampling`` (summaries); ``series_history`` and ``summaries`` read a
single series.
"""

from __future__ import annotations

__all__ = [
    "Buckets",
    "Downsampled",
    "HandResult",
    "HistoryRows",
    "HistorySource",
    "MergedHistory",
    "OfLot",
    "OfPlace",
    "OfProbe",
    "Share",
    "SourceSummary",
    "Subject",
    "buckets_of",
    "history_sources",
    "latest",
    "merged_pieces",
    "pieces",
    "raw",
    "results_of",
    "span",
    "summary",
]

from collections.abc import Iterator, Sequence

from ingest.store import Store
from ingest.store.journal.hand_results import HandResult
from ingest.store.readings import series_history
from ingest.store.readings.downsampling import Buckets, Downsampled, SourceSummary, bucketed, downsample
from ingest.store.readings.history_sources import (
    HistorySource,
    OfLot,
    OfPlace,
    OfProbe,
    Share,
    Subject,
    history_sources,
    results_of,
)
from ingest.store.readings.merge import HistoryRows, MergedHistory, merge, newest_of
from ingest.store.readings.summaries import dropped_span
from ingest.times import END_OF_TIME_MS


def raw(
    store: Store, subject: Subject, from_ms: int = 0, to_ms: int = END_OF_TIME_MS, *, struck: bool = False
) -> MergedHistory:
    """Every reading and every result as numpy arrays in order of time, with vessel, probe, entry and the lot's share.

    Two results of one moment are both there, each with its entry. A lot that lies in two vessels has the readings of
    both. struck: results of struck entries as well; ``MergedHistory.results`` says which those are.
    """
    sources, results = history_sources(store, subject), results_of(store, subject, from_ms, to_ms, struck=struck)
    rows = [piece.rows for piece in merge(store, sources, results, from_ms, to_ms)]
    return MergedHistory(HistoryRows.joined(rows), sources, {result.entry: result for result in results})


def pieces(
    store: Store, subject: Subject, from_ms: int = 0, to_ms: int = END_OF_TIME_MS, *, struck: bool = False
) -> Iterator[MergedHistory]:
    """What ``raw`` gives, about a day at a time, for spans of any length in little memory."""
    results = results_of(store, subject, from_ms, to_ms, struck=struck)
    return merge(store, history_sources(store, subject), results, from_ms, to_ms)


def merged_pieces(
    store: Store, sources: Sequence[HistorySource], results: Sequence[HandResult], from_ms: int, to_ms: int
) -> Iterator[MergedHistory]:
    """The same of sources and results that were chosen before."""
    return merge(store, tuple(sources), results, from_ms, to_ms)


def summary(
    store: Store, subject: Subject, from_ms: int, to_ms: int, points: int, *, struck: bool = False
) -> Downsampled:
    """Count, lowest, highest, mean, first, last and worst quality by the coarsest of day, hour and minute that has at
    least ``points`` spans between the first and the last that there is; below that, each reading.

    No level loses an extreme. The spans that from_ms and to_ms lie in are given whole; those in which a lot came into a
    vessel or left it, only for the time when it was there. Readings of each source are kept apart, since the mean of
    two vessels means nothing. Results are given one by one. Where single readings or fine summaries were dropped by the
    owner's wish, coarser ones stand in. Raises ValueError for points below 1.
    """
    if points < 1:
        raise ValueError(f"points is {points}; at least 1 is needed")
    sources, results = history_sources(store, subject), results_of(store, subject, from_ms, to_ms, struck=struck)
    ends = _ends(store, sources, from_ms, to_ms)
    if not ends:
        return Downsampled(None, (), tuple(results))
    return downsample(store, sources, results, max(from_ms, min(ends)), min(to_ms, max(ends) + 1), points)


def buckets_of(store: Store, sources: Sequence[HistorySource], from_ms: int, to_ms: int, most: int) -> Buckets:
    """The same for a chart of a fixed span of time: at most about ``most`` rows of each source.

    Raises ValueError for a span that is empty, and for ``most`` below 1.
    """
    if most < 1 or from_ms >= to_ms:
        raise ValueError(f"{most} rows between {from_ms} and {to_ms}; at least 1 is needed, in a span of time")
    return bucketed(store, sources, from_ms, to_ms, most)


def latest(store: Store, subject: Subject, *, struck: bool = False) -> MergedHistory:
    """How it stands: the newest reading of each probe that is there now, and the newest result.

    For a lot those are the probes at the vessels where it lies now, each if it has read since the lot came there; a lot
    that lies nowhere has its newest result only. Where no probe is left, it is the one that went last.
    """
    present = [source for source in history_sources(store, subject) if source.to_ms is None]
    living = [source for source in present if source.living] or present[-1:]
    return newest_of(store, tuple(living), results_of(store, subject, struck=struck))


def span(store: Store, subject: Subject, *, struck: bool = False) -> tuple[int, int] | None:
    """(time of the first, time of the last) reading or result, None if there is none.

    Days of which only summaries are left count from their begin.
    """
    ends = [result.at_ms for result in results_of(store, subject, struck=struck)]
    ends += _ends(store, history_sources(store, subject), 0, END_OF_TIME_MS)
    return (min(ends), max(ends)) if ends else None


def _ends(store: Store, sources: tuple[HistorySource, ...], from_ms: int, to_ms: int) -> list[int]:
    """First and last moment of each source's readings in a span, of dropped ones by what summaries are left."""
    ends: list[int] = []
    for source in sources:
        begin_ms, end_ms = source.within(from_ms, to_ms)
        if begin_ms < end_ms:
            ends += series_history.span(store, source.series, begin_ms, end_ms) or ()
            ends += dropped_span(store, source.series, begin_ms, end_ms) or ()
    return ends
