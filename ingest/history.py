"""History: what was read and found of a probe, of a quantity at a place, or of a lot wherever it lay.

Every question names whose history it is: ``OfProbe("k1-pressure")``, ``OfPlace("K1", "temperature")`` or
``OfLot("malvasia-2026", "free_so2")``. Times are UTC ms, spans are from_ms <= at < to_ms, all time by default. Values
are in the quantity's unit, through the dated scale. Results of the journal belong to their entries; struck ones are
left out unless they are asked for.

The work is done in ``ingest.store.readings``: ``history_sources`` (which readings are whose), ``merge`` (readings and
results in order of time), ``downsampling`` (summaries), ``bounds``; ``series_history`` and ``summaries`` read a single
series.
"""

from __future__ import annotations

__all__ = [
    "Downsampled",
    "HandResult",
    "HistorySource",
    "MergedHistory",
    "OfLot",
    "OfPlace",
    "OfProbe",
    "Share",
    "Track",
    "Whose",
    "latest",
    "pieces",
    "raw",
    "sources",
    "span",
    "summary",
]

from collections.abc import Iterator

from ingest.store import Store
from ingest.store.journal.hand_results import HandResult
from ingest.store.readings.bounds import first_and_last
from ingest.store.readings.downsampling import Downsampled, Track, downsample
from ingest.store.readings.history_sources import (
    HistorySource,
    OfLot,
    OfPlace,
    OfProbe,
    Share,
    Whose,
    history_sources,
    results_of,
)
from ingest.store.readings.merge import MergedHistory, merge, newest_of
from ingest.times import END_OF_TIME_MS


def raw(
    store: Store, whose: Whose, from_ms: int = 0, to_ms: int = END_OF_TIME_MS, *, struck: bool = False
) -> MergedHistory:
    """Every reading and every result as numpy arrays in order of time, with vessel, probe, entry and the lot's share.

    Two results of one moment are both there, each with its entry. A lot that lies in two vessels has the readings of
    both. struck: results of struck entries as well; ``MergedHistory.results`` tells which those are.
    """
    own, results = tuple(history_sources(store, whose)), results_of(store, whose, from_ms, to_ms, struck=struck)
    parts = list(merge(store, own, results, from_ms, to_ms))
    return MergedHistory.joined(parts, own, {one.entry: one for one in results})


def pieces(
    store: Store, whose: Whose, from_ms: int = 0, to_ms: int = END_OF_TIME_MS, *, struck: bool = False
) -> Iterator[MergedHistory]:
    """What ``raw`` gives, about a day at a time, for spans of any length in little memory."""
    results = results_of(store, whose, from_ms, to_ms, struck=struck)
    return merge(store, tuple(history_sources(store, whose)), results, from_ms, to_ms)


def summary(store: Store, whose: Whose, from_ms: int, to_ms: int, points: int, *, struck: bool = False) -> Downsampled:
    """Count, lowest, highest, mean, first, last and worst quality by the coarsest of day, hour and minute that has at
    least ``points`` spans between the first and the last that there is; below that, each reading.

    No level loses an extreme. The spans that from_ms and to_ms lie in are told whole; those in which a lot came into a
    vessel or left it, only of the time when it was there. Readings of each probe and stay are told apart, since the
    mean of two vessels is nobody's. Results are told one by one. Where single readings or fine summaries were dropped
    by the owner's wish, coarser ones stand in. Raises ValueError for points below 1.
    """
    if points < 1:
        raise ValueError(f"points is {points}; at least 1 is needed")
    own, results = history_sources(store, whose), results_of(store, whose, from_ms, to_ms, struck=struck)
    ends = [end for strand in own for end in _ends(store, strand, from_ms, to_ms)]
    if not ends:
        return Downsampled(None, (), tuple(results))
    return downsample(store, own, results, max(from_ms, min(ends)), min(to_ms, max(ends) + 1), points)


def latest(store: Store, whose: Whose, *, struck: bool = False) -> MergedHistory:
    """How it stands: the newest reading of each probe that is there now, and the newest result.

    For a lot those are the probes at the vessels where it lies now, each if it has read since the lot came there; a lot
    that lies nowhere has its newest result only. Where no probe is left, it is the one that went last.
    """
    present = [strand for strand in history_sources(store, whose) if strand.to_ms is None]
    living = [strand for strand in present if strand.living] or present[-1:]
    return newest_of(store, tuple(living), results_of(store, whose, struck=struck))


def span(store: Store, whose: Whose, *, struck: bool = False) -> tuple[int, int] | None:
    """(time of the first, time of the last) reading or result, None if there is none.

    Days of which only summaries are left count from their begin.
    """
    ends = [one.at_ms for one in results_of(store, whose, struck=struck)]
    for strand in history_sources(store, whose):
        ends += _ends(store, strand, 0, END_OF_TIME_MS)
    return (min(ends), max(ends)) if ends else None


def sources(store: Store, whose: Whose) -> tuple[HistorySource, ...]:
    """Where the readings come from: probe, place and time, for a lot each stay in a vessel with its share; in the order
    in which they begin. A vessel without a probe of that quantity has none.
    """
    return tuple(history_sources(store, whose))


def _ends(store: Store, strand: HistorySource, from_ms: int, to_ms: int) -> tuple[int, ...]:
    begin_ms, end_ms = max(strand.from_ms, from_ms), to_ms if strand.to_ms is None else min(strand.to_ms, to_ms)
    return (first_and_last(store, strand.series, begin_ms, end_ms) or ()) if begin_ms < end_ms else ()
