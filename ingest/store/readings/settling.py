"""Settling: fresh readings that are old enough are packed per series and day, checked, and only then taken out of
``fresh``.

One slice packs one day of one series, or takes out what was packed, and holds the write lock for that alone, so nobody
waits long behind it. Slices are whole transactions: a kill between any two of them loses and doubles nothing. The first
reading of a time wins: what is in a block already before what comes late, an earlier row of ``fresh`` before a later
one.
"""

from __future__ import annotations

__all__ = ["DAY_MS", "PackedDay", "Settler", "block_of", "merged", "packed", "replace_block"]

import sqlite3
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from ingest.errors import StoreError
from ingest.reading import ESTIMATED, Reason, quality_reason
from ingest.store.change_feed import DAY_MS, FED, SETTLED, cursor, set_cursor
from ingest.store.connection import Store
from ingest.store.readings.block import Arrays, pack, unpack
from ingest.store.readings.fresh import remembered_from

# Rows of ``fresh`` that are looked at together; some 20 ms of reading here.
WINDOW: Final = 20_000

# Rows that are taken out together; some 10 ms here.
_TAKEN_OUT: Final = 5000

_Fresh = tuple[int, int, float, int]  # id, at_ms, number, quality


class PackedDay(NamedTuple):
    """A day of a series, ready to be written. before: the day's block as it was when the readings were put together."""

    series: int
    day: int
    whole: Arrays
    data: bytes
    before: bytes | None


def block_of(store: Store, series: int, day: int) -> Arrays:
    """The settled readings of a series on a day (UTC, counted from 1970), empty if there are none."""
    data = _data_of(store.connection, series, day)
    return Arrays.empty() if data is None else unpack(data)


def _data_of(connection: sqlite3.Connection, series: int, day: int) -> bytes | None:
    row = connection.execute("SELECT data FROM block WHERE series = ? AND day = ?", (series, day)).fetchone()
    return None if row is None else bytes(row[0])


def merged(first: Arrays, later: Arrays) -> Arrays:
    """Both in order of time; of two with one time the one from ``first`` counts, within one the earlier place."""
    if not len(later.at_ms):
        return first
    both = Arrays.joined([first, later])
    # numpy gives the first place of each distinct value, which is the rule.
    _, places = np.unique(both.at_ms, return_index=True)
    return both.part(places)


class Settler:
    """One pass over ``fresh`` in slices. Begin a pass with ``begin``, then call ``slice`` until it says False."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._before_ms = 0
        self._place = 0
        self._held_from: int | None = None
        self._groups: dict[tuple[int, int], list[_Fresh]] = {}
        self._packed: list[int] = []
        self._done = True

    def begin(self, before_ms: int) -> None:
        """Start a pass: settle what is older than before_ms (UTC ms)."""
        self._before_ms = before_ms
        self._place = 0
        self._held_from = None
        self._groups.clear()
        self._packed.clear()
        self._done = False

    def slice(self) -> bool:
        """Pack one day of one series, take out what was packed, or look at more rows; False when the pass is over.

        Raises StoreError.
        """
        if self._groups:
            (series, day), rows = next(iter(self._groups.items()))
            self._settle(series, day, rows)
            del self._groups[series, day]
            return True
        if self._packed:
            self._take_out()
            return True
        if self._done:
            return False
        self._look()
        return True

    def _look(self) -> None:
        # What is not in the change feed yet stays: once settled, it could no longer be found there. So does a bare
        # number that the broker may send again, until enough others have followed.
        fed = cursor(self._store, FED) or 0
        if self._held_from is None:
            self._held_from = remembered_from(self._store, fed)
        rows = self._store.connection.execute(
            "SELECT id, series, at, number, quality FROM fresh"
            " WHERE id > ? AND id <= ? AND (came IS NULL OR id < ?) ORDER BY id LIMIT ?",
            (self._place, fed, self._held_from, WINDOW),
        ).fetchall()
        old = 0
        for number, series, at, value, quality in rows:
            # An estimated time may still be moved, so it waits. One of a wrong clock never comes, so it does not.
            if quality >= ESTIMATED or (at >= self._before_ms and quality_reason(quality) is not Reason.CLOCK):
                continue
            old += 1
            self._groups.setdefault((series, at // DAY_MS), []).append((number, at, value, quality))
        # Rows come in order of arrival: a window in which nothing is old is followed by younger ones only.
        self._done = len(rows) < WINDOW or old == 0
        if rows:
            self._place = rows[-1][0]

    def _settle(self, series: int, day: int, rows: Sequence[_Fresh]) -> None:
        block = packed(self._store, series, day, Arrays.of([row[1:] for row in rows]))
        with self._store.write() as connection:
            replaced = replace_block(connection, block)
        # Where an import was faster the readings stay where they are until the next pass.
        if replaced:
            self._packed += (row[0] for row in rows)

    def _take_out(self) -> None:
        """Take rows that are in blocks out of ``fresh``, in their order there.

        All series lie mixed on its pages. To take out one after the other would write each page as many times as there
        are series, and that was four fifths of what upkeep wrote. Between the two steps a reading stands twice and
        counts once.
        """
        self._packed.sort()
        ids, rest = self._packed[:_TAKEN_OUT], self._packed[_TAKEN_OUT:]
        with self._store.write() as connection:
            connection.executemany("DELETE FROM fresh WHERE id = ?", ((number,) for number in ids))
            set_cursor(connection, SETTLED, max(ids[-1], cursor(self._store, SETTLED) or 0))
        self._packed = rest


def packed(store: Store, series: int, day: int, later: Arrays) -> PackedDay:
    """A day's block with later readings put into it, checked. Raises StoreError where packing loses something."""
    before = _data_of(store.connection, series, day)
    whole = merged(Arrays.empty() if before is None else unpack(before), later)
    data = pack(whole)
    _check(data, whole, series, day)
    return PackedDay(series, day, whole, data, before)


def replace_block(connection: sqlite3.Connection, block: PackedDay) -> bool:
    """Write a day's block, inside the caller's transaction; False, and nothing written, if it is no longer as it was
    when the new one was packed: the daemon settles and a command brings in, each in a process of its own."""
    if _data_of(connection, block.series, block.day) != block.before:
        return False
    times = block.whole.at_ms
    connection.execute(
        "INSERT INTO block (series, day, rows, from_ms, to_ms, data) VALUES (?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (series, day) DO UPDATE SET rows = excluded.rows, from_ms = excluded.from_ms,"
        " to_ms = excluded.to_ms, data = excluded.data",
        (block.series, block.day, len(times), int(times[0]), int(times[-1]), block.data),
    )
    return True


def _check(data: bytes, whole: Arrays, series: int, day: int) -> None:
    """What was packed must give back what went in, before anything is deleted for it."""
    back = unpack(data)
    if (
        not np.array_equal(back.at_ms, whole.at_ms)
        or back.number.tobytes() != whole.number.tobytes()
        or not np.array_equal(back.quality, whole.quality)
    ):
        raise StoreError(f"a block of series {series}, day {day} does not give back what went in; nothing was settled")
