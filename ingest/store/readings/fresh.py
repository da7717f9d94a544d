"""Appending fresh readings: in order of arrival, repeats left out, one commit for many.

Many rows go into one INSERT: it is half again as fast as one by one, and SQLite lets go of the interpreter once a
statement, not once a row, so that the threads that read the wire are not held up.
"""

from __future__ import annotations

__all__ = ["REMEMBERED_IDS", "Appended", "Appender", "came_with", "remembered_from"]

import sqlite3
from bisect import bisect_left, insort
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import chain
from typing import NamedTuple

from ingest.reading import ESTIMATED, Quality, Reason, Row, quality_code
from ingest.store.change_feed import DAY_MS, FED, SETTLED, cursor, set_cursor, touch, unfed
from ingest.store.connection import Store
from ingest.store.readings.undated import KNOWN
from ingest.times import END_OF_TIME_MS

_GOOD = quality_code(Quality.GOOD)
_CLOCK = quality_code(Quality.UNCERTAIN, Reason.CLOCK) + ESTIMATED

# (series, day) -> from, to.
_Spans = dict[tuple[int, int], tuple[int, int]]

# How many times of each series are remembered to know a repeat. Twice the MQTT window, and more.
REMEMBERED = 8192

# How far a stamp may be ahead of the clock.
MOST_AHEAD_MS = 1000

# How many MQTT packet ids are remembered with what came under them, at least; more than a window holds. A broker that
# counts its ids up to 65,535 must not find one from long ago: an equal number that it sends would be taken for that.
REMEMBERED_IDS = 8192

# How many of the newest rows are read at start to remember them.
REBUILD_ROWS = 120_000

# A time that a wrong clock gave (its reason is "clock", and it is no estimate) holds no later stamp up.
_HAS_COME = f"NOT (quality < {ESTIMATED} AND (quality >> 2) & 63 = {int(Reason.CLOCK)})"

_CHUNK = 512


def _statement(columns: str, rows: int) -> str:
    marks = "(" + ",".join("?" * len(columns.split(","))) + ")"
    return f"INSERT INTO fresh ({columns}) VALUES " + ",".join([marks] * rows)  # noqa: S608  question marks only


# Powers of two only, so that the handful of statements stays in sqlite3's cache.
_SIZES = (1, 2, 4, 8, 16, 32, 64, 128, 256, _CHUNK)
_PLAIN = {size: _statement("id, series, at, number, quality", size) for size in _SIZES}
_CAME = {size: _statement("id, series, at, number, quality, came", size) for size in _SIZES}


def came_with(packet_id: int, digest: int) -> int:
    """What is kept of the message that brought a bare number at QoS 1, to know it if the broker sends it again.

    packet_id: 1 to 65,535; digest: 32 bits of what it held.
    """
    return packet_id << 32 | digest


def remembered_from(store: Store, newest_id: int) -> int:
    """The id from which on packet ids are remembered, as seen from newest_id. Rows of serial lines and chips bring none
    and must not push out those that do, so only the latter are counted, as far back as a start looks at all."""
    oldest = store.connection.execute(
        "SELECT min(id) FROM (SELECT id FROM fresh WHERE id > ? AND id <= ? AND came IS NOT NULL"
        " ORDER BY id DESC LIMIT ?)",
        (newest_id - REBUILD_ROWS, newest_id, REMEMBERED_IDS),
    ).fetchone()[0]
    return newest_id + 1 if oldest is None else int(oldest)


class Appended(NamedTuple):
    """What came of a batch: rows stored, rows that were repeats, the newest id."""

    stored: int
    repeats: int
    newest_id: int


class Appender:
    """The only writer of ``fresh``: one per store, in the ingest daemon (or in an import while that one is stopped).

    ``choose`` decides in memory what is new; ``commit`` puts it on disk. Between the two nothing is lost: a commit that
    fails is called again with the same rows.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._recent: dict[int, list[int]] = {}
        # (series, day) -> (first, last) time of its readings that are on disk and not in the feed yet.
        self._unfed: _Spans = {}
        self._newest_id = 0
        self.remember()

    def remember(self) -> None:
        """Read again what is in the store: at start, and after times in it were changed."""
        store = self._store
        self._recent.clear()
        self._unfed = {(series, first // DAY_MS): (first, last) for series, first, last in unfed(store)}
        newest = store.connection.execute("SELECT max(id) FROM fresh").fetchone()[0] or 0
        # Settling removes rows from the front, and one that was to be confirmed can be gone; an id is never used again,
        # or a follower would overlook a reading.
        self._newest_id = max(int(newest), cursor(store, SETTLED) or 0, cursor(store, FED) or 0)
        rows = store.connection.execute(
            f"SELECT series, at FROM fresh WHERE id > ? AND {_HAS_COME} ORDER BY series, at",  # noqa: S608  constants
            (self._newest_id - REBUILD_ROWS,),
        )
        for series, at in rows:
            self._recent.setdefault(series, []).append(at)
        # Silent for long, but its next stamp must still be later. Looking for them reads the whole table, and a sort of
        # all of it would cost a start two seconds, so only they are asked for.
        silent = [row[0] for row in store.connection.execute("SELECT id FROM series") if row[0] not in self._recent]
        if silent:
            marks = ",".join("?" * len(silent))
            for series, at in store.connection.execute(
                f"SELECT series, max(at) FROM fresh WHERE series IN ({marks}) AND {_HAS_COME} GROUP BY series",  # noqa: S608  only question marks
                silent,
            ):
                self._recent[series] = [at]
        for (series,) in store.connection.execute("SELECT id FROM series"):
            row = store.connection.execute(
                "SELECT to_ms FROM block WHERE series = ? AND to_ms <= ? ORDER BY day DESC LIMIT 1",
                (series, cursor(store, KNOWN) or END_OF_TIME_MS),
            ).fetchone()
            recent = self._recent.setdefault(series, [])
            if row is not None and (not recent or row[0] > recent[-1]):
                recent.append(row[0])

    def delivered(self) -> dict[int, int]:
        """Packet id -> digest of the last bare numbers that came at QoS 1, the oldest in front."""
        rows = self._store.connection.execute(
            "SELECT came >> 32, came & 0xffffffff FROM fresh WHERE id >= ? AND came IS NOT NULL ORDER BY id",
            (remembered_from(self._store, self._newest_id),),
        )
        digests: dict[int, int] = {}
        for packet_id, digest in rows:
            # Taken out first, so that the oldest stand in front.
            digests.pop(packet_id, None)
            digests[packet_id] = digest
        return digests

    @property
    def newest_id(self) -> int:
        """The id of the newest row."""
        return self._newest_id

    def stamp(self, series: int, arrival_ms: int) -> int:
        """The time of a reading that carries none: its arrival, but later than the series' newest reading.

        Equal or falling arrivals (two readings in a millisecond, a clock that was set back) follow 1 ms apart. A stamp
        is at most a second ahead of the arrival: where the newest reading is of the future, the first free time is
        taken.
        """
        recent = self._recent.get(series)
        if not recent or arrival_ms > recent[-1]:
            return arrival_ms
        if recent[-1] < arrival_ms + MOST_AHEAD_MS:
            return recent[-1] + 1
        at_ms, place = arrival_ms, bisect_left(recent, arrival_ms)
        while place < len(recent) and recent[place] == at_ms:
            at_ms, place = at_ms + 1, place + 1
        return at_ms

    def newest_ms(self, series: int) -> int | None:
        """The time of the series' newest reading, None where there is none."""
        recent = self._recent.get(series)
        return recent[-1] if recent else None

    def choose(self, rows: Iterable[Row]) -> list[Row]:
        """The rows that are not repeats of a remembered (series, at), in the same order; they are remembered now."""
        chosen: list[Row] = []
        keep = chosen.append
        known = self._recent
        for row in rows:
            series = row[0]
            at = row[1]
            recent = known.get(series)
            if recent is None:
                known[series] = [at]
            elif not recent or at > recent[-1]:
                recent.append(at)
                if len(recent) > 2 * REMEMBERED:
                    del recent[:REMEMBERED]
            else:
                place = bisect_left(recent, at)
                if recent[place] == at:
                    continue
                insort(recent, at)
            keep(row)
        return chosen

    def commit(
        self,
        rows: Sequence[Row],
        also: Callable[[sqlite3.Connection], None] | None = None,
        confirmed: Sequence[int] = (),
        *,
        came: Mapping[int, int] | None = None,
        feed: bool = True,
    ) -> int:
        """Put chosen rows on disk in one transaction; give the newest id.

        also: further statements for the same transaction. confirmed: ids of stored rows that were uncertain as a
        backlog and are good; they move to the end, so that a follower of the ids meets them as good ones, and before
        the rows, which came later. came: place of a row -> ``came_with`` its message. feed: also put into the change
        feed what has not entered it yet; else that is left to a later commit.
        Raises StoreError; then nothing of it is stored.
        """
        if not rows and not confirmed and also is None:
            return self._newest_id
        first = self._newest_id + len(confirmed) + 1
        newest = self._newest_id + len(confirmed) + len(rows)
        if came:
            statements = _CAME
            numbered: list[tuple[float | None, ...]] = [
                (first + place, *row, came.get(place)) for place, row in enumerate(rows)
            ]
        else:
            statements = _PLAIN
            numbered = [(number, *row) for number, row in enumerate(rows, first)]
        with self._store.write() as connection:
            moved = _confirm(connection, confirmed, self._newest_id + 1)
            _insert(connection, statements, numbered)
            spans = _widened(self._unfed, [*((row[0], row[1]) for row in rows), *moved])
            if feed and spans:
                touch(connection, [(series, *span) for (series, _), span in spans.items()])
                set_cursor(connection, FED, newest)
                spans = {}
            if also is not None:
                also(connection)
        self._unfed = spans
        self._newest_id = newest
        return newest

    def append(self, rows: Iterable[Row], also: Callable[[sqlite3.Connection], None] | None = None) -> Appended:
        """``choose`` and ``commit`` in one step, for callers that have nothing to keep when a commit fails."""
        offered = list(rows)
        chosen = self.choose(offered)
        newest = self.commit(chosen, also)
        return Appended(len(chosen), len(offered) - len(chosen), newest)


def _confirm(connection: sqlite3.Connection, confirmed: Sequence[int], first: int) -> list[tuple[int, int]]:
    """Move the rows to the end and call them good; gives their (series, at)."""
    moved: list[tuple[int, int]] = []
    for number, row in enumerate(confirmed, first):
        moved += connection.execute(
            "UPDATE fresh SET id = ?, quality = CASE WHEN quality >= ? THEN ? ELSE ? END WHERE id = ?"
            " RETURNING series, at",
            (number, ESTIMATED, _CLOCK, _GOOD, row),
        ).fetchall()
    return moved


def _widened(spans: _Spans, readings: Sequence[tuple[int, int]]) -> _Spans:
    """The spans with further (series, at) in them.

    Each day has its own: a follower of the feed goes through all that a span covers, and one late reading is no reason
    to go through the year between it and now.
    """
    ends = _ends(readings)
    # Nearly always one day; only where it is not each reading's own day is asked for.
    long = {series for series, (first, last) in ends.items() if first // DAY_MS != last // DAY_MS}
    edges = [(series, at) for series, span in ends.items() if series not in long for at in span]
    wide = dict(spans)
    for series, at in chain(edges, (reading for reading in readings if reading[0] in long) if long else ()):
        first, last = wide.get((series, at // DAY_MS), (at, at))
        wide[series, at // DAY_MS] = (min(first, at), max(last, at))
    return wide


def _ends(readings: Iterable[tuple[int, int]]) -> dict[int, tuple[int, int]]:
    ends: dict[int, tuple[int, int]] = {}
    for series, at in readings:
        span = ends.get(series)
        if span is None:
            ends[series] = (at, at)
        elif at > span[1]:
            ends[series] = (span[0], at)
        elif at < span[0]:
            ends[series] = (at, span[1])
    return ends


def _insert(
    connection: sqlite3.Connection, statements: Mapping[int, str], rows: Sequence[tuple[float | None, ...]]
) -> None:
    start, count = 0, len(rows)
    size = _CHUNK
    while start < count:
        while size > count - start:
            size >>= 1
        connection.execute(statements[size], tuple(chain.from_iterable(rows[start : start + size])))
        start += size
