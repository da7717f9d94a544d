"""Readings with times that have not come yet, left by a machine whose clock was far ahead; and going back from there.

The readings stay, marked as uncertain (clock). What the store believes to be the time goes back to now, and so do the
stamps of readings without a time of their own.
"""

from __future__ import annotations

__all__ = ["FutureReadings", "forget_future", "future_readings"]

import sqlite3
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from ingest.reading import ESTIMATED, Quality, Reason, quality_code
from ingest.store.change_feed import DAY_MS, cursor, set_cursor, touch
from ingest.store.connection import Store
from ingest.store.readings.block import Arrays, pack
from ingest.store.readings.settling import PackedDay, block_of, replace_block
from ingest.store.readings.undated import DATED, FORGOTTEN, FORGOTTEN_FUTURE, KNOWN

# What came while somebody looked at the clock is not of the future.
_TOLERANCE_MS: Final = 1000
_CLOCK: Final = quality_code(Quality.UNCERTAIN, Reason.CLOCK)
_BAD_CLOCK: Final = quality_code(Quality.BAD, Reason.CLOCK)


class FutureReadings(NamedTuple):
    """How many readings of a series lie in the future, and how many of them are marked; from_ms, to_ms: UTC ms."""

    series: int
    readings: int
    marked: int
    from_ms: int
    to_ms: int


def future_readings(store: Store, now_ms: int) -> list[FutureReadings]:
    """List what lies in the future at now_ms (UTC ms), by series."""
    after_ms = now_ms + _TOLERANCE_MS
    parts = [
        FutureReadings(*row)
        for row in store.connection.execute(
            "SELECT series, count(*), sum(quality IN (?, ?)), min(at), max(at) FROM fresh WHERE at > ? GROUP BY series",
            (_CLOCK, _BAD_CLOCK, after_ms),
        )
    ]
    for series, day in _days_after(store.connection, after_ms):
        block = block_of(store, series, day)
        later = block.part(slice(int(np.searchsorted(block.at_ms, after_ms, "right")), None))
        marked = int(np.count_nonzero(_is_marked(later.quality)))
        parts.append(FutureReadings(series, len(later.at_ms), marked, int(later.at_ms[0]), int(later.at_ms[-1])))
    whole: dict[int, FutureReadings] = {}
    for part in parts:
        known = whole.get(part.series)
        whole[part.series] = (
            part
            if known is None
            else FutureReadings(
                part.series,
                known.readings + part.readings,
                known.marked + part.marked,
                min(known.from_ms, part.from_ms),
                max(known.to_ms, part.to_ms),
            )
        )
    return [whole[series] for series in sorted(whole)]


def forget_future(store: Store, now_ms: int, boot: str) -> int:
    """Go back to now_ms (UTC ms), which is believed: mark what lies after it. Return how many readings were marked.

    boot: the kernel's id of this boot. Readings whose times this boot has estimated are left to be dated by it. Raises
    StoreError; then nothing was changed.
    """
    after_ms = now_ms + _TOLERANCE_MS
    with store.write() as connection:
        to_be_dated = connection.execute(
            "SELECT min(after_id) FROM undated WHERE boot = ? AND dated_ms IS NULL", (boot,)
        ).fetchone()[0]
        marked = _mark_fresh(connection, after_ms, to_be_dated) + _mark_settled(store, connection, after_ms)
        set_cursor(connection, FORGOTTEN_FUTURE, cursor(store, KNOWN) or now_ms)
        set_cursor(connection, FORGOTTEN, now_ms)
        set_cursor(connection, KNOWN, now_ms)
        # Whoever keeps a newest time in memory has to look again.
        set_cursor(connection, DATED, (cursor(store, DATED) or 0) + 1)
    return marked


def _mark_fresh(connection: sqlite3.Connection, after_ms: int, to_be_dated: int | None) -> int:
    condition = "at > ? AND (quality < ? OR ? IS NULL OR id <= ?) AND quality NOT IN (?, ?)"
    values = (after_ms, ESTIMATED, to_be_dated, to_be_dated, _CLOCK, _BAD_CLOCK)
    spans = connection.execute(
        f"SELECT series, min(at), max(at) FROM fresh WHERE {condition} GROUP BY series, at / ?",  # noqa: S608  constants
        (*values, DAY_MS),
    ).fetchall()
    marked = connection.execute(
        f"UPDATE fresh SET quality = CASE quality & 3 WHEN 2 THEN ? ELSE ? END WHERE {condition}",  # noqa: S608  constants
        (_BAD_CLOCK, _CLOCK, *values),
    ).rowcount
    touch(connection, spans)
    return int(marked)


def _mark_settled(store: Store, connection: sqlite3.Connection, after_ms: int) -> int:
    count = 0
    for series, day in _days_after(connection, after_ms):
        before = connection.execute("SELECT data FROM block WHERE series = ? AND day = ?", (series, day)).fetchone()
        block = block_of(store, series, day)
        wrong = (block.at_ms > after_ms) & ~_is_marked(block.quality)
        if not wrong.any():
            continue
        mark = np.where(block.quality & 3 == int(Quality.BAD), _BAD_CLOCK, _CLOCK)
        whole = Arrays(block.at_ms, block.number, np.where(wrong, mark, block.quality).astype(block.quality.dtype))
        replace_block(connection, PackedDay(series, day, whole, pack(whole), bytes(before[0])))
        times = block.at_ms[wrong]
        touch(connection, [(series, int(times[0]), int(times[-1]))])
        count += int(np.count_nonzero(wrong))
    return count


def _days_after(connection: sqlite3.Connection, after_ms: int) -> list[tuple[int, int]]:
    return connection.execute(
        "SELECT series, day FROM block WHERE day >= ? AND to_ms > ? ORDER BY series, day",
        (after_ms // DAY_MS, after_ms),
    ).fetchall()


def _is_marked(quality: npt.NDArray[np.uint16]) -> npt.NDArray[np.bool_]:
    return np.isin(quality, (_CLOCK, _BAD_CLOCK))
