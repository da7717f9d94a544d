"""Summaries in the store: kept up by following the change feed, read together with what has not been followed yet.

After a change anywhere in a day of a series that day's summaries are worked out again from its readings: simple, and
right for late, re-scaled and re-dated readings alike. It is never done in the transaction that stores readings.
"""

from __future__ import annotations

__all__ = ["CatchUp", "coarsest", "summaries", "summary"]

import math
from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import islice
from typing import Final

import numpy as np

from ingest.store.change_feed import DROPPED, SUMMARIES, cursor, set_cursor, touched_after, unfed
from ingest.store.connection import Store
from ingest.store.readings.block import Arrays
from ingest.store.readings.series_history import arrays, pieces, span, together
from ingest.store.readings.settling import DAY_MS
from ingest.store.readings.summary import LEVELS, Level, Summary, pack_summary, summarise, unpack_summary

# Changes that are taken up together: the more, the fewer times a busy day is worked out.
_AT_ONCE: Final = 5000

_HOUR_MS: Final = LEVELS["hour"]
# To see where a series has readings costs a look at all fresh ones; so many days are quicker listed.
_LISTED_MS: Final = 1000 * DAY_MS
# Of so many series the readings of a day are held in memory at once.
_TOGETHER: Final = 5


class CatchUp:
    """Follows the change feed in slices, a day of a series each."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._days: list[tuple[int, int]] = []
        self._reached: int | None = None

    def slice(self) -> bool:
        """Work out one day of one series, or take up more changes; False when everything is followed."""
        if self._days:
            self._renew(*self._days.pop())
            if not self._days:
                self._note_reached()
            return True
        return self._look()

    def _look(self) -> bool:
        changes = touched_after(self._store, cursor(self._store, SUMMARIES) or 0, _AT_ONCE)
        if not changes:
            return False
        self._reached = changes[-1].seq
        self._days = sorted(_days_of(self._store, [(touch.series, touch.from_ms, touch.to_ms) for touch in changes]))
        if not self._days:
            self._note_reached()
        return True

    def _note_reached(self) -> None:
        if self._reached is not None:
            with self._store.write() as connection:
                set_cursor(connection, SUMMARIES, self._reached)
            self._reached = None

    def _renew(self, series: int, day: int) -> None:
        if _is_dropped(self._store, series, day):
            return
        values = arrays(self._store, series, day * DAY_MS, (day + 1) * DAY_MS)
        hours, days = summarise(values, _HOUR_MS), summarise(values, DAY_MS)
        minutes = summarise(values, LEVELS["minute"])
        with self._store.write() as connection:
            for span_ms, rows in ((_HOUR_MS, hours), (DAY_MS, days)):
                connection.execute(
                    "DELETE FROM summary WHERE series = ? AND span_ms = ? AND from_ms >= ? AND from_ms < ?",
                    (series, span_ms, day * DAY_MS, (day + 1) * DAY_MS),
                )
                connection.executemany(
                    "INSERT INTO summary (series, span_ms, from_ms, count, low, high, mean, first, last, worst)"
                    " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    zip([series] * len(rows.from_ms), [span_ms] * len(rows.from_ms), *_columns(rows), strict=True),
                )
            if len(minutes.from_ms):
                connection.execute(
                    "INSERT INTO minutes (series, day, data) VALUES (?, ?, ?)"
                    " ON CONFLICT (series, day) DO UPDATE SET data = excluded.data",
                    (series, day, pack_summary(minutes)),
                )
            else:
                connection.execute("DELETE FROM minutes WHERE series = ? AND day = ?", (series, day))


def summary(store: Store, series: int, from_ms: int, to_ms: int, level: Level) -> Summary:
    """The summaries of a series whose spans begin within from_ms <= begin < to_ms, in order of time.

    Days with changes that are not followed yet are worked out from their readings, so the answer is always up to date.
    """
    # All days of a run at once: each look at the fresh readings of a span reads their whole table.
    days = _open_days(store, series, from_ms, to_ms)
    readings = (piece for first, last in _runs(days) for piece in pieces(store, series, first, last))
    return _completed(store, series, (from_ms, to_ms), level, days, readings)


def summaries(
    store: Store, wanted: Iterable[int], from_ms: int, to_ms: int, level: Level
) -> Iterator[tuple[int, Summary]]:
    """Give each series with what ``summary`` gives of it; quicker than to ask for one after the other.

    The span is of a few days at most: readings of several series are held in memory.
    """
    rest = iter(wanted)
    while group := [*islice(rest, _TOGETHER)]:
        days = {series: _open_days(store, series, from_ms, to_ms) for series in group}
        spans = [(series, min(open) * DAY_MS, (max(open) + 1) * DAY_MS - 1) for series, open in days.items() if open]
        read = dict(together(store, spans))
        for series in group:
            readings = [read[series]] if series in read else []
            yield series, _completed(store, series, (from_ms, to_ms), level, days[series], readings)


def _open_days(store: Store, series: int, from_ms: int, to_ms: int) -> set[int]:
    """The days of a span of which the stored summaries are not up to date."""
    if from_ms >= to_ms:
        return set()
    reached = cursor(store, SUMMARIES) or 0
    # Before the feed is looked at: what enters it meanwhile is then seen twice, never overlooked.
    waiting = [row for row in unfed(store) if row[0] == series]
    rows = store.connection.execute(
        "SELECT series, from_ms, to_ms FROM touched WHERE seq > ? AND series = ? AND to_ms >= ? AND from_ms < ?",
        (reached, series, from_ms - DAY_MS, to_ms + DAY_MS),
    ).fetchall()
    changes = [(series, max(first, from_ms - DAY_MS), min(last, to_ms)) for _, first, last in (*waiting, *rows)]
    return {
        day
        for _, day in _days_of(store, changes, listed_ms=_LISTED_MS)
        if from_ms < (day + 1) * DAY_MS and day * DAY_MS < to_ms and not _is_dropped(store, series, day)
    }


def _completed(
    store: Store, series: int, span_ms: tuple[int, int], level: Level, days: Collection[int], readings: Iterable[Arrays]
) -> Summary:
    """The stored summaries of a span, those of some days in it from their readings instead, in order of time."""
    from_ms, to_ms = span_ms
    if from_ms >= to_ms:
        return Summary.empty()
    stored = _stored(store, series, from_ms, to_ms, level)
    if not days:
        return stored
    open_days = np.array(sorted(days), np.int64)
    parts = [stored.part(~np.isin(stored.from_ms // DAY_MS, open_days))]
    for piece in readings:
        made = summarise(piece, LEVELS[level]).between(from_ms, to_ms)
        parts.append(made.part(np.isin(made.from_ms // DAY_MS, open_days)))
    whole = Summary.joined(parts)
    return whole.part(np.argsort(whole.from_ms, kind="stable"))


def _runs(days: Iterable[int]) -> Iterator[tuple[int, int]]:
    """From when and until when, UTC ms, days follow one another without a gap."""
    ordered = np.array(sorted(days), np.int64)
    for run in np.split(ordered, np.flatnonzero(np.diff(ordered) > 1) + 1):
        if len(run):
            yield int(run[0]) * DAY_MS, (int(run[-1]) + 1) * DAY_MS


def dropped_span(store: Store, series: int, from_ms: int, to_ms: int) -> tuple[int, int] | None:
    """(first, last) moment from from_ms on and before to_ms of the days of which only summaries are left."""
    first_ms, last_ms = store.connection.execute(
        "SELECT min(from_ms), max(from_ms) FROM summary"
        " WHERE series = ? AND span_ms = ? AND from_ms > ? AND from_ms < ?",
        (series, DAY_MS, from_ms - DAY_MS, min(to_ms, (cursor(store, DROPPED) or 0) * DAY_MS)),
    ).fetchone()
    return None if first_ms is None else (max(first_ms, from_ms), min(last_ms + DAY_MS, to_ms) - 1)


def coarsest(from_ms: int, to_ms: int, points: int) -> Level | None:
    """The coarsest level that still has ``points`` spans between the two times; None where raw readings are called for.

    Lowest and highest are kept at every level, so none of them loses an extreme.
    """
    for level in ("day", "hour", "minute"):
        if (to_ms - from_ms) // LEVELS[level] >= points:
            return level
    return None


def _is_dropped(store: Store, series: int, day: int) -> bool:
    """Whether a day's single readings are gone by the owner's wish: its summaries then stay as they are."""
    if day >= (cursor(store, DROPPED) or 0):
        return False
    row = store.connection.execute("SELECT 1 FROM block WHERE series = ? AND day = ?", (series, day)).fetchone()
    return row is None


def _stored(store: Store, series: int, from_ms: int, to_ms: int, level: Level) -> Summary:
    if level == "minute":
        rows = store.connection.execute(
            "SELECT data FROM minutes WHERE series = ? AND day >= ? AND day <= ? ORDER BY day",
            (series, from_ms // DAY_MS, to_ms // DAY_MS),
        )
        return Summary.joined([unpack_summary(data) for (data,) in rows]).between(from_ms, to_ms)
    rows = store.connection.execute(
        "SELECT from_ms, count, low, high, mean, first, last, worst FROM summary"
        " WHERE series = ? AND span_ms = ? AND from_ms >= ? AND from_ms < ? ORDER BY from_ms",
        (series, LEVELS[level], from_ms, to_ms),
    )
    table = np.array(rows.fetchall(), np.float64)  # None becomes NaN; times in ms fit a double's 53 bits
    if not len(table):
        return Summary.empty()
    begins, counts, *values, worst = table.T
    return Summary._make((begins.astype(np.int64), counts.astype(np.int64), *values, worst.astype(np.int64)))


def _columns(rows: Summary) -> list[list[float | None]]:
    """Columns for SQLite, where NULL stands for NaN."""
    return [[None if math.isnan(value) else value for value in column.tolist()] for column in rows]


def _days_of(store: Store, changes: Sequence[tuple[int, int, int]], listed_ms: int = DAY_MS) -> set[tuple[int, int]]:
    """(series, day) of all days that the changed spans reach into; of spans longer than listed_ms, as far as the series
    has readings there.
    """
    days: set[tuple[int, int]] = set()
    spans: dict[int, tuple[int, int] | None] = {}
    for series, from_ms, to_ms in changes:
        if to_ms - from_ms > listed_ms:
            # A re-scaling reaches from its time to now, or over all time: only where there are readings is work to do.
            if series not in spans:
                spans[series] = span(store, series)
            known = spans[series]
            if known is None:
                continue
            first, last = max(from_ms, known[0]), min(to_ms, known[1])
        else:
            first, last = from_ms, to_ms
        days.update((series, day) for day in range(first // DAY_MS, last // DAY_MS + 1))
    return days
