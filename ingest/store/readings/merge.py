"""Readings and results of one history, merged in order of time."""

from __future__ import annotations

__all__ = ["HistoryRows", "MergedHistory", "merge", "newest_of"]

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from ingest.store.connection import Store
from ingest.store.journal.hand_results import HandResult
from ingest.store.readings.block import Arrays
from ingest.store.readings.history_sources import HistorySource
from ingest.store.readings.scales import scales
from ingest.store.readings.scaling import scaled
from ingest.store.readings.series_history import latest, pieces
from ingest.times import END_OF_TIME_MS


class HistoryRows(NamedTuple):
    """Columns with a row for each reading and each result.

    at_ms: UTC ms (int64); value: in the quantity's unit (float64); u: its standard uncertainty, NaN for readings and
    where nobody gave it (float64); quality: see ingest.reading, 0 for results (uint16); source: index of a reading's
    source, -1 for a result (int32); entry: a result's entry in the journal, 0 for a reading (int64); share: the lot's
    part of the wine, of 1, NaN where it is not known or no lot was asked for (float64).
    """

    at_ms: npt.NDArray[np.int64]
    value: npt.NDArray[np.float64]
    u: npt.NDArray[np.float64]
    quality: npt.NDArray[np.uint16]
    source: npt.NDArray[np.int32]
    entry: npt.NDArray[np.int64]
    share: npt.NDArray[np.float64]

    @classmethod
    def joined(cls, pieces: Sequence[HistoryRows]) -> HistoryRows:
        """Pieces one behind the other."""
        return cls._make(map(np.concatenate, zip(*(pieces or [_result_rows([])]), strict=True)))

    def part(self, where: slice | npt.NDArray[np.intp]) -> HistoryRows:
        """The rows in a slice, or at some indices."""
        return HistoryRows._make(column[where] for column in self)


@dataclass(frozen=True, slots=True, eq=False)
class MergedHistory:
    """rows: in order of time; of one time readings come before results. sources: where the readings come from;
    results: by entry.
    """

    rows: HistoryRows
    sources: tuple[HistorySource, ...]
    results: Mapping[int, HandResult]

    def __len__(self) -> int:
        return len(self.rows.at_ms)


def merge(
    store: Store, sources: tuple[HistorySource, ...], results: Sequence[HandResult], from_ms: int, to_ms: int
) -> Iterator[MergedHistory]:
    """All rows with from_ms <= at < to_ms, in order of time, about a day at a time."""
    by_entry = {result.entry: result for result in results}
    streams = [_source_rows(store, source, index, from_ms, to_ms) for index, source in enumerate(sources)]
    streams.append(iter([_result_rows(results)] if results else []))
    heads = {number: rows for number, stream in enumerate(streams) if (rows := next(stream, None)) is not None}
    while heads:
        # Up to the first end of a piece every stream's rows are at hand.
        until_ms = min(rows.at_ms[-1] for rows in heads.values())
        due = []
        for number, rows in list(heads.items()):
            if rows.at_ms[0] > until_ms:
                continue
            cut = int(np.searchsorted(rows.at_ms, until_ms, side="right"))
            due.append(rows.part(slice(cut)))
            rest = rows.part(slice(cut, None)) if cut < len(rows.at_ms) else next(streams[number], None)
            if rest is None:
                del heads[number]
            else:
                heads[number] = rest
        yield MergedHistory(_in_order(due), sources, by_entry)


def newest_of(store: Store, sources: tuple[HistorySource, ...], results: Sequence[HandResult]) -> MergedHistory:
    """The newest reading of each source that lies in it, and the newest of the results (which are in order)."""
    newest = latest(store, {source.series for source in sources})
    pieces = []
    for index, source in enumerate(sources):
        reading = newest.get(source.series)
        begin_ms, end_ms = source.within(0, END_OF_TIME_MS)
        if reading is not None and begin_ms <= reading.at_ms < end_ms:
            alone = scaled(Arrays.of([reading[1:]]), scales(store, source.series))
            pieces.append(_reading_rows(alone, source, index))
    pieces.append(_result_rows(results[-1:]))
    return MergedHistory(_in_order(pieces), sources, {result.entry: result for result in results[-1:]})


def _in_order(pieces: Sequence[HistoryRows]) -> HistoryRows:
    if len(pieces) == 1:
        return pieces[0]
    rows = HistoryRows.joined(pieces)
    # Readings have entry 0 and so come first; two of one time in the order of their sources.
    return rows.part(np.lexsort((rows.source, rows.entry, rows.at_ms)))


def _source_rows(store: Store, source: HistorySource, index: int, from_ms: int, to_ms: int) -> Iterator[HistoryRows]:
    for piece in pieces(store, source.series, *source.within(from_ms, to_ms)):
        yield _reading_rows(piece, source, index)


def _reading_rows(readings: Arrays, source: HistorySource, index: int) -> HistoryRows:
    count = len(readings.at_ms)
    share = np.full(count, np.nan)
    if source.shares:
        begins = np.array([share.from_ms for share in source.shares])
        parts = np.array([math.nan if share.share is None else share.share for share in source.shares])
        share = parts[np.searchsorted(begins, readings.at_ms, side="right") - 1]
    return HistoryRows(
        at_ms=readings.at_ms,
        value=readings.number,
        u=np.full(count, np.nan),
        quality=readings.quality,
        source=np.full(count, index, np.int32),
        entry=np.zeros(count, np.int64),
        share=share,
    )


def _result_rows(results: Sequence[HandResult]) -> HistoryRows:
    count = len(results)
    return HistoryRows(
        at_ms=np.array([result.at_ms for result in results], np.int64),
        value=np.array([result.value for result in results], np.float64),
        u=np.array([result.u for result in results], np.float64),  # None becomes NaN
        quality=np.zeros(count, np.uint16),
        source=np.full(count, -1, np.int32),
        entry=np.array([result.entry for result in results], np.int64),
        share=np.array([result.share for result in results], np.float64),
    )
