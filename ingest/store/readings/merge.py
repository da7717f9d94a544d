"""Readings and results of one history, woven together in order of time."""

from __future__ import annotations

__all__ = ["MergedHistory", "merge", "newest_of"]

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ingest.store.connection import Store
from ingest.store.journal.hand_results import HandResult
from ingest.store.readings.block import Arrays
from ingest.store.readings.history_sources import HistorySource
from ingest.store.readings.scales import scales, value_at
from ingest.store.readings.series_history import latest, pieces
from ingest.times import END_OF_TIME_MS


@dataclass(frozen=True, slots=True, eq=False)
class MergedHistory:
    """A row for each reading and each result, in order of time; of one time readings come before results.

    at_ms: UTC ms (int64); value: in the quantity's unit (float64); u: its standard uncertainty, NaN where nobody told
    it and for readings (float64); quality: see ingest.reading, 0 for results (uint16); strand: place in
    ``strands`` of a reading, -1 for a result (int32); entry: a result's entry in the journal, 0 for a reading (int64).
    strands: where readings come from; results: by entry.
    """

    at_ms: npt.NDArray[np.int64]
    value: npt.NDArray[np.float64]
    u: npt.NDArray[np.float64]
    quality: npt.NDArray[np.uint16]
    strand: npt.NDArray[np.int32]
    entry: npt.NDArray[np.int64]
    strands: tuple[HistorySource, ...]
    results: Mapping[int, HandResult]

    def __len__(self) -> int:
        return len(self.at_ms)

    def shares(self) -> npt.NDArray[np.float64]:
        """The lot's part of the wine at each row, of 1; NaN where nobody knows it, and where no lot was asked for."""
        found = np.full(len(self), np.nan)
        for place, strand in enumerate(self.strands):
            rows = self.strand == place
            if strand.shares and rows.any():
                begins = np.array([share.from_ms for share in strand.shares])
                parts = np.array([math.nan if share.share is None else share.share for share in strand.shares])
                found[rows] = parts[np.searchsorted(begins, self.at_ms[rows], side="right") - 1]
        for row in np.flatnonzero(self.entry):
            share = self.results[int(self.entry[row])].share
            found[row] = math.nan if share is None else share
        return found

    @classmethod
    def joined(
        cls, parts: Sequence[MergedHistory], strands: tuple[HistorySource, ...], results: Mapping[int, HandResult]
    ) -> MergedHistory:
        """Parts one behind the other."""
        if not parts:
            return _past([], [], strands, results)
        return cls(
            np.concatenate([part.at_ms for part in parts]),
            np.concatenate([part.value for part in parts]),
            np.concatenate([part.u for part in parts]),
            np.concatenate([part.quality for part in parts]),
            np.concatenate([part.strand for part in parts]),
            np.concatenate([part.entry for part in parts]),
            strands,
            results,
        )


def merge(
    store: Store, strands: tuple[HistorySource, ...], results: Sequence[HandResult], from_ms: int, to_ms: int
) -> Iterator[MergedHistory]:
    """All rows with from_ms <= at < to_ms, in order of time, about a day at a time."""
    by_entry = {one.entry: one for one in results}
    waiting = sorted(_within(strands, from_ms, to_ms), reverse=True)
    open_: list[_Stream] = []
    told = 0
    while open_ or waiting:
        # Up to the first end of a piece every strand that has begun is known.
        while waiting and (not open_ or waiting[-1][0] <= min(stream.until_ms for stream in open_)):
            begin_ms, end_ms, place = waiting.pop()
            stream = _Stream(place, pieces(store, strands[place].series, begin_ms, end_ms))
            if stream.more():
                open_.append(stream)
        if not open_:
            continue
        until_ms = min(stream.until_ms for stream in open_)
        readings = [(stream.place, stream.take(until_ms)) for stream in open_]
        open_ = [stream for stream in open_ if stream.more()]
        known = told
        while told < len(results) and results[told].at_ms <= until_ms:
            told += 1
        yield _past([one for one in readings if len(one[1].at_ms)], results[known:told], strands, by_entry)
    if told < len(results):
        yield _past([], results[told:], strands, by_entry)


def newest_of(store: Store, strands: tuple[HistorySource, ...], results: Sequence[HandResult]) -> MergedHistory:
    """The newest reading of each strand that lies in it, and the newest of the results (which are in order)."""
    found = latest(store, {strand.series for strand in strands})
    rows: list[tuple[int, Arrays]] = []
    for place, strand in enumerate(strands):
        reading = found.get(strand.series)
        if reading is None or reading.at_ms < strand.from_ms or (strand.to_ms or END_OF_TIME_MS) <= reading.at_ms:
            continue
        value = value_at(scales(store, strand.series), reading.at_ms, reading.number)
        at_ms, quality = np.array([reading.at_ms], np.int64), np.array([reading.quality], np.uint16)
        rows.append((place, Arrays(at_ms, np.array([value]), quality)))
    return _past(rows, results[-1:], strands, {one.entry: one for one in results[-1:]})


def _within(strands: Sequence[HistorySource], from_ms: int, to_ms: int) -> Iterator[tuple[int, int, int]]:
    """(begin, end, place) of the strands that reach into a span."""
    for place, strand in enumerate(strands):
        begin_ms = max(strand.from_ms, from_ms)
        end_ms = to_ms if strand.to_ms is None else min(strand.to_ms, to_ms)
        if begin_ms < end_ms:
            yield begin_ms, end_ms, place


class _Stream:
    """The readings of a strand, of which a piece is at hand."""

    def __init__(self, place: int, coming: Iterator[Arrays]) -> None:
        self.place = place
        self._coming = coming
        self._piece = Arrays.empty()

    @property
    def until_ms(self) -> int:
        return int(self._piece.at_ms[-1])

    def more(self) -> bool:
        """Whether there are more readings; then some are at hand."""
        while not len(self._piece.at_ms):
            piece = next(self._coming, None)
            if piece is None:
                return False
            self._piece = piece
        return True

    def take(self, until_ms: int) -> Arrays:
        """What is at hand up to that time, it included."""
        cut = int(np.searchsorted(self._piece.at_ms, until_ms, side="right"))
        taken, self._piece = self._piece.part(slice(cut)), self._piece.part(slice(cut, None))
        return taken


def _past(
    readings: Iterable[tuple[int, Arrays]],
    results: Sequence[HandResult],
    strands: tuple[HistorySource, ...],
    by_entry: Mapping[int, HandResult],
) -> MergedHistory:
    parts = [
        MergedHistory(
            read.at_ms,
            read.number,
            np.full(len(read.at_ms), np.nan),
            read.quality,
            np.full(len(read.at_ms), place, np.int32),
            np.zeros(len(read.at_ms), np.int64),
            strands,
            by_entry,
        )
        for place, read in readings
    ]
    if len(parts) == 1 and not results:
        return parts[0]
    found = MergedHistory(
        np.array([one.at_ms for one in results], np.int64),
        np.array([one.value for one in results], np.float64),
        np.array([math.nan if one.u is None else one.u for one in results], np.float64),
        np.zeros(len(results), np.uint16),
        np.full(len(results), -1, np.int32),
        np.array([one.entry for one in results], np.int64),
        strands,
        by_entry,
    )
    whole = MergedHistory.joined([*parts, found], strands, by_entry)
    # Readings have entry 0 and so come first; two of one time in the order of their strands.
    order = np.lexsort((whole.strand, whole.entry, whole.at_ms))
    return MergedHistory(
        whole.at_ms[order],
        whole.value[order],
        whole.u[order],
        whole.quality[order],
        whole.strand[order],
        whole.entry[order],
        strands,
        by_entry,
    )
