"""Whether the store is whole, and what it holds, asked beside a running leeside."""

from __future__ import annotations

__all__ = ["Health", "SeriesSpan", "StoreCounts", "check_copy", "contents", "examine"]

import sqlite3
from dataclasses import dataclass
from typing import Final, NamedTuple

from ingest.store.change_feed import SUMMARIES, cursor
from ingest.store.connection import Store, translate
from ingest.store.disk_space import log_size
from ingest.store.migrations import schema_differences, version_of
from ingest.store.readings.block import BlockUnreadable, unpack
from ingest.store.readings.series import all_series
from ingest.store.readings.series_history import span
from ingest.store.readings.summary import unpack_summary

# Up to this size the check that also compares every index with its table takes seconds on a small board.
_WHOLE_CHECK_BYTES: Final = 256 * 1024 * 1024
_MOST_FAULTS: Final = 20
_ROWS_AT_ONCE: Final = 200


class StoreCounts(NamedTuple):
    """readings: fresh and settled ones (a time that stands twice counts twice); oldest_ms, newest_ms: UTC ms of the
    oldest and the newest, None for none."""

    readings: int
    oldest_ms: int | None
    newest_ms: int | None


class SeriesSpan(NamedTuple):
    """A series that has readings: its probe and place, the times of its first and last reading (UTC ms)."""

    probe: str
    place: str
    oldest_ms: int
    newest_ms: int


@dataclass(frozen=True, slots=True)
class Health:
    """How a store is.

    faults: what SQLite found, and blocks that cannot be unpacked, () for a whole store; differences: tables, indexes,
    views and triggers that are not what the schema's number says; check: the pragma that was run; size_bytes: the file
    with its log; log_bytes: of that the log; schema: the newest migration; oldest_ms, newest_ms: UTC ms of the oldest
    and newest reading, None for none; blocks: settled days that were unpacked; behind: changes that the summaries have
    yet to follow; series: the span of each series with readings.
    """

    faults: tuple[str, ...]
    check: str
    size_bytes: int
    schema: int
    oldest_ms: int | None
    newest_ms: int | None
    log_bytes: int = 0
    blocks: int = 0
    behind: int = 0
    series: tuple[SeriesSpan, ...] = ()
    differences: tuple[str, ...] = ()


def examine(store: Store) -> Health:
    """Check the whole file. It reads all of it: seconds to minutes, in which the log beside it can grow.

    Raises StoreError where the file cannot even be read.
    """
    log_bytes = log_size(store.path)
    size_bytes = store.path.stat().st_size + log_bytes
    check = _check_for(size_bytes)
    try:
        faults = _faults(store.connection, check)
        schema = version_of(store.connection)
        if faults:
            # What a damaged file says of its readings is worth nothing, if it can be read at all.
            return Health(tuple(faults), check, size_bytes, schema, None, None, log_bytes)
        blocks, unreadable = _unpacked(store.connection)
        held = contents(store.connection)
        behind = store.connection.execute(
            "SELECT count(*) FROM touched WHERE seq > ?", (cursor(store, SUMMARIES) or 0,)
        ).fetchone()[0]
        spans = [(row, span(store, row.id)) for row in all_series(store)]
    except sqlite3.Error as error:
        raise translate(error, store.path) from error
    return Health(
        tuple(unreadable[:_MOST_FAULTS]),
        check,
        size_bytes,
        schema,
        held.oldest_ms,
        held.newest_ms,
        log_bytes,
        blocks,
        behind,
        tuple(SeriesSpan(row.probe, row.place, *ends) for row, ends in spans if ends is not None),
        tuple(schema_differences(store.connection)),
    )


def check_copy(connection: sqlite3.Connection, size_bytes: int) -> list[str]:
    """Return what SQLite finds wrong in an open database of that size; [] for a whole one. Raises sqlite3.Error."""
    return _faults(connection, _check_for(size_bytes))


def contents(connection: sqlite3.Connection) -> StoreCounts:
    """Count what the store of an open connection holds, whatever its schema. Raises sqlite3.Error."""
    count, oldest, newest = connection.execute("SELECT count(*), min(at), max(at) FROM fresh").fetchone()
    if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'block'").fetchone() is None:
        return StoreCounts(count, oldest, newest)
    rows, first, last = connection.execute("SELECT total(rows), min(from_ms), max(to_ms) FROM block").fetchone()
    times = [time for time in (oldest, newest, first, last) if time is not None]
    return StoreCounts(count + int(rows), min(times, default=None), max(times, default=None))


def _check_for(size_bytes: int) -> str:
    return "integrity_check" if size_bytes <= _WHOLE_CHECK_BYTES else "quick_check"


def _faults(connection: sqlite3.Connection, check: str) -> list[str]:
    faults = []
    try:
        for (text,) in connection.execute(f"PRAGMA {check}({_MOST_FAULTS})"):
            if text != "ok":
                faults.append(" ".join(str(text).split()))
    except sqlite3.DatabaseError as error:  # a page so damaged that the check itself ends there
        faults.append(str(error))
    return faults


def _unpacked(connection: sqlite3.Connection) -> tuple[int, list[str]]:
    """Unpack every settled day; return how many there were, and what could not be read. A few at a time, so that no
    read of the store lasts long."""
    count, faults, place = 0, [], 0
    while rows := connection.execute(
        "SELECT block.id, block.series, block.day, block.rows, block.data, minutes.data FROM block"
        " LEFT JOIN minutes USING (series, day) WHERE block.id > ? ORDER BY block.id LIMIT ?",
        (place, _ROWS_AT_ONCE),
    ).fetchall():
        for number, series, day, readings, data, minutes in rows:
            place = number
            count += 1
            try:
                unpacked = len(unpack(data).at_ms)
                if unpacked != readings:
                    faults.append(f"series {series}, day {day}: {unpacked} readings instead of {readings}")
                if minutes is not None:
                    unpack_summary(minutes)
            except BlockUnreadable as error:
                faults.append(f"series {series}, day {day}: {error}")
    return count, faults
