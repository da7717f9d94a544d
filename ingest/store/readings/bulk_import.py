"""Bringing in readings of the past: straight into settled blocks, a few days at once, beside a running leeside.

``fresh`` is never written here: it belongs to the ingest daemon, which numbers its rows in memory. What is stored
already wins, settled or fresh; so the same readings twice change nothing. Packing is done outside of the transaction;
inside it another look shows what has changed meanwhile, and that is packed again.
"""

from __future__ import annotations

__all__ = ["BulkImport", "ImportedReadings", "Piece"]

import sqlite3
from array import array
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from ingest.store.change_feed import cursor, touch
from ingest.store.connection import Store
from ingest.store.readings.block import Arrays, pack, unpack
from ingest.store.readings.settling import DAY_MS, PackedDay, block_of, merged, packed, replace_block
from ingest.store.readings.undated import DATED

# Days that are written together: one wait for the disk, and a few milliseconds of the store's lock.
_TOGETHER: Final = 16


class Piece(NamedTuple):
    """Readings of one series in any order; of two with one time the first counts."""

    series: int
    readings: Arrays


@dataclass(slots=True)
class ImportedReadings:
    """What came of the readings of one series.

    new: how many are new; repeats: how many had a time that was stored already, or came before in the same import;
    from_ms, to_ms: first and last time of the new ones (UTC ms).
    """

    new: int = 0
    repeats: int = 0
    from_ms: int | None = None
    to_ms: int | None = None

    @property
    def offered(self) -> int:
        """How many readings there were."""
        return self.new + self.repeats

    def _count(self, offered: int, times: npt.NDArray[np.int64]) -> None:
        self.new += len(times)
        self.repeats += offered - len(times)
        if len(times):
            first, last = int(times[0]), int(times[-1])
            self.from_ms = first if self.from_ms is None else min(self.from_ms, first)
            self.to_ms = last if self.to_ms is None else max(self.to_ms, last)


class BulkImport:
    """Brings readings into the given series; with ``rehearse`` finds out what would come of it and writes nothing."""

    def __init__(self, store: Store, series: Collection[int], *, rehearse: bool = False) -> None:
        self._store = store
        self._fresh = _FreshTimes(store, series)
        self._rehearse = rehearse
        # Days as they would stand after what was rehearsed, times only, packed.
        self._rehearsed: dict[tuple[int, int], bytes] = {}
        self.imported: dict[int, ImportedReadings] = {number: ImportedReadings() for number in series}

    def take(self, pieces: Iterable[Piece]) -> None:
        """Bring in, or rehearse. Raises StoreError; days already written stay, and count as repeats the next time."""
        days = [part for piece in pieces for part in _by_day(piece)]
        if self._rehearse:
            for series, day, readings in days:
                self._rehearse_day(series, day, readings)
            return
        for start in range(0, len(days), _TOGETHER):
            waiting = days[start : start + _TOGETHER]
            while waiting:
                waiting = self._write(waiting)

    def _rehearse_day(self, series: int, day: int, readings: Arrays) -> None:
        known = self._rehearsed.get((series, day))
        stored = block_of(self._store, series, day).at_ms if known is None else unpack(known).at_ms
        new = self._new(series, day, stored, readings)
        self.imported[series]._count(len(readings.at_ms), new.at_ms)
        times = np.union1d(stored, new.at_ms)
        zeros = np.zeros(len(times))
        self._rehearsed[series, day] = pack(Arrays(times, zeros, zeros.astype(np.uint16)))

    def _write(self, days: list[tuple[int, int, Arrays]]) -> list[tuple[int, int, Arrays]]:
        """Write what is new of these days in one transaction; give back those that changed meanwhile."""
        ready: list[tuple[PackedDay, Arrays, int]] = []
        for series, day, readings in days:
            new = self._new(series, day, block_of(self._store, series, day).at_ms, readings)
            if len(new.at_ms):
                ready.append((packed(self._store, series, day, new), new, len(readings.at_ms)))
            else:
                self.imported[series]._count(len(readings.at_ms), new.at_ms)
        if not ready:
            return []
        changed: set[tuple[int, int]] = set()
        written: list[tuple[int, int, npt.NDArray[np.int64]]] = []
        with self._store.write() as connection:
            newly_fresh = self._fresh.look_again(connection)
            for block, new, offered in ready:
                fresh = newly_fresh.get(block.series)
                if (fresh is not None and np.isin(new.at_ms, fresh).any()) or not replace_block(connection, block):
                    changed.add((block.series, block.day))
                    continue
                touch(connection, [(block.series, int(new.at_ms[0]), int(new.at_ms[-1]))])
                written.append((block.series, offered, new.at_ms))
        for series, offered, times in written:
            self.imported[series]._count(offered, times)
        return [part for part in days if part[:2] in changed]

    def _new(self, series: int, day: int, settled: npt.NDArray[np.int64], readings: Arrays) -> Arrays:
        """Those readings of a day whose times are neither settled nor fresh, in order of time."""
        ordered = merged(Arrays.empty(), readings)
        new = ~np.isin(ordered.at_ms, settled) & ~np.isin(ordered.at_ms, self._fresh.of(series, day))
        return ordered.part(new)


class _FreshTimes:
    """The times of fresh readings, so that not each day's look reads all of ``fresh``."""

    def __init__(self, store: Store, series: Collection[int]) -> None:
        self._store = store
        self._series = set(series)
        self._times: dict[int, npt.NDArray[np.int64]] = {}
        self._newest_id = 0
        self._dated: int | None = None
        with store.read() as connection:
            self._dated = cursor(store, DATED)
            self._read(connection, 0)

    def of(self, series: int, day: int) -> npt.NDArray[np.int64]:
        times = self._times.get(series)
        if times is None:
            return np.empty(0, np.int64)
        first, last = np.searchsorted(times, (day * DAY_MS, (day + 1) * DAY_MS))
        return times[first:last]

    def look_again(self, connection: sqlite3.Connection) -> dict[int, npt.NDArray[np.int64]]:
        """Add what has arrived since; gives its times by series."""
        dated = cursor(self._store, DATED)
        if dated != self._dated:
            # Estimated times have been moved: any of them may have changed.
            self._dated = dated
            self._times.clear()
            return self._read(connection, 0)
        return self._read(connection, self._newest_id)

    def _read(self, connection: sqlite3.Connection, after_id: int) -> dict[int, npt.NDArray[np.int64]]:
        arrived: dict[int, array[int]] = {}
        for number, series, at in connection.execute(
            "SELECT id, series, at FROM fresh WHERE id > ? ORDER BY id", (after_id,)
        ):
            self._newest_id = number
            if series in self._series:
                arrived.setdefault(series, array("q")).append(at)
        distinct = {series: np.unique(np.array(times, np.int64)) for series, times in arrived.items()}
        for series, times in distinct.items():
            self._times[series] = np.union1d(self._times.get(series, np.empty(0, np.int64)), times)
        return distinct


def _by_day(piece: Piece) -> list[tuple[int, int, Arrays]]:
    """A piece cut into days, the order within a day kept."""
    days = piece.readings.at_ms // DAY_MS
    if not len(days):
        return []
    order = np.argsort(days, kind="stable")
    whole = piece.readings.part(order)
    cuts = np.flatnonzero(np.diff(days[order])) + 1
    edges = [0, *cuts.tolist(), len(days)]
    return [
        (piece.series, int(whole.at_ms[first] // DAY_MS), whole.part(slice(first, last)))
        for first, last in pairwise(edges)
    ]
