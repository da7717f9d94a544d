"""Reading one series back: in order of time, each time once, in our units; fresh and settled ones as one.

Who wants the history of a probe, a place or a lot asks ``ingest.history``, which is made of this. Here are ``raw`` and
``arrays`` (readings), ``latest`` and ``newest`` (how things stand), ``span`` (from when to when there are any), and
what serves those who follow the store; summaries are in ``summaries``.
"""

from __future__ import annotations

__all__ = [
    "HistoryRow",
    "arrays",
    "first_fresh_since",
    "fresh_after",
    "judged_until",
    "latest",
    "newest",
    "pieces",
    "raw",
    "scaled",
    "span",
    "together",
]

from collections.abc import Collection, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from ingest.reading import Reading, Scale
from ingest.store.connection import Store
from ingest.store.readings.block import Arrays
from ingest.store.readings.scales import scales, value_at
from ingest.store.readings.settling import DAY_MS, block_of, merged
from ingest.times import END_OF_TIME_MS

# How many of the newest rows are looked at where a few hours are enough; a whole year of them would take seconds.
LOOKED_BACK = 100_000


class HistoryRow(NamedTuple):
    """at_ms: UTC ms; value: in the quantity's unit, through the dated scale; quality: see ingest.reading."""

    at_ms: int
    value: float
    quality: int


def raw(store: Store, series: int, from_ms: int = 0, to_ms: int = END_OF_TIME_MS) -> Iterator[HistoryRow]:
    """Readings of a series with from_ms <= at < to_ms, oldest first. Of two with one time the first stored counts."""
    dated = scales(store, series)
    for piece in _pieces(store, series, from_ms, to_ms):
        values = scaled(piece, dated)
        yield from map(HistoryRow, values.at_ms.tolist(), values.number.tolist(), values.quality.tolist())


def arrays(store: Store, series: int, from_ms: int = 0, to_ms: int = END_OF_TIME_MS) -> Arrays:
    """What ``raw`` gives as numpy arrays: times, values (as ``number``), qualities."""
    pieces = list(_pieces(store, series, from_ms, to_ms))
    if not pieces:
        return Arrays.empty()
    return scaled(Arrays.joined(pieces), scales(store, series))


def pieces(store: Store, series: int, from_ms: int = 0, to_ms: int = END_OF_TIME_MS) -> Iterator[Arrays]:
    """What ``arrays`` gives, a settled day at a time, for spans of any length in little memory.

    The scale is that of the begin; who goes through a span slowly watches the change feed meanwhile.
    """
    dated = scales(store, series)
    for piece in _pieces(store, series, from_ms, to_ms):
        yield scaled(piece, dated)


def together(store: Store, spans: Sequence[tuple[int, int, int]]) -> Iterator[tuple[int, Arrays]]:
    """(series, readings) of many short spans (series, from_ms, to_ms, both ends included) of about the same time.

    One look at ``fresh`` serves them all; asked one by one, each would read the whole table.
    """
    if not spans:
        return
    found: dict[int, list[tuple[int, float, int]]] = {}
    rows = store.connection.execute(
        "SELECT series, at, number, quality FROM fresh WHERE at >= ? AND at <= ? ORDER BY id",
        (min(span[1] for span in spans), max(span[2] for span in spans)),
    )
    for series, at, number, quality in rows:
        found.setdefault(series, []).append((at, number, quality))
    for series, from_ms, to_ms in spans:
        kept = [row for row in found.get(series, ()) if from_ms <= row[0] <= to_ms]
        fresh = merged(Arrays.empty(), _arrays_of(kept)) if kept else Arrays.empty()
        settled = store.connection.execute(
            "SELECT day FROM block WHERE series = ? AND day >= ? AND day <= ? AND to_ms >= ?",
            (series, from_ms // DAY_MS, to_ms // DAY_MS, from_ms),
        ).fetchall()
        for (day,) in settled:
            block = block_of(store, series, day)
            first, last = np.searchsorted(block.at_ms, (from_ms, to_ms + 1))
            fresh = merged(block.part(slice(int(first), int(last))), fresh)
        if len(fresh.at_ms):
            yield series, scaled(fresh, scales(store, series))


def _arrays_of(rows: Sequence[tuple[int, float, int]]) -> Arrays:
    times, numbers, qualities = zip(*rows, strict=True)
    return Arrays(np.array(times, np.int64), np.array(numbers, np.float64), np.array(qualities, np.uint16))


def scaled(numbers: Arrays, dated: Sequence[Scale]) -> Arrays:
    """Numbers as values, each through the newest scale not after its time (or the first there is)."""
    if not dated:
        return numbers
    if len(dated) == 1:
        return numbers._replace(number=dated[0].gain * numbers.number + dated[0].offset)
    begins = np.array([scale.from_ms for scale in dated])
    places = np.maximum(np.searchsorted(begins, numbers.at_ms, side="right") - 1, 0)
    gains = np.array([scale.gain for scale in dated])[places]
    offsets = np.array([scale.offset for scale in dated])[places]
    return numbers._replace(number=gains * numbers.number + offsets)


def _pieces(store: Store, series: int, from_ms: int, to_ms: int) -> Iterator[Arrays]:
    """Unscaled readings in order of time, a settled day at a time.

    The fresh ones are read first: what is settled between the two looks is then seen twice and counted once, never
    overlooked.
    """
    fresh = _fresh(store, series, from_ms, to_ms)
    days = store.connection.execute(
        "SELECT day FROM block WHERE series = ? AND day >= ? AND day <= ? ORDER BY day",
        (series, from_ms // DAY_MS, (to_ms - 1) // DAY_MS),
    ).fetchall()
    place = 0
    for (day,) in days:
        block = block_of(store, series, day)
        first, last = np.searchsorted(block.at_ms, (from_ms, to_ms))
        end = int(np.searchsorted(fresh.at_ms, (day + 1) * DAY_MS))
        piece = merged(block.part(slice(int(first), int(last))), fresh.part(slice(place, end)))
        place = end
        if len(piece.at_ms):
            yield piece
    if place < len(fresh.at_ms):
        yield fresh.part(slice(place, None))


def _fresh(store: Store, series: int, from_ms: int, to_ms: int) -> Arrays:
    rows = store.connection.execute(
        "SELECT at, number, quality FROM fresh WHERE series = ? AND at >= ? AND at < ? ORDER BY at, id",
        (series, from_ms, to_ms),
    ).fetchall()
    if not rows:
        return Arrays.empty()
    return merged(Arrays.empty(), _arrays_of(rows))


def span(store: Store, series: int) -> tuple[int, int] | None:
    """(time of the first, time of the last) reading of a series, UTC ms; None if it has none."""
    row = store.connection.execute(
        "SELECT min(first), max(last) FROM (SELECT min(at) AS first, max(at) AS last FROM fresh WHERE series = ?1"
        # Through the index on series and day: a scan would read a page for each settled day.
        " UNION ALL SELECT * FROM (SELECT from_ms, from_ms FROM block WHERE series = ?1 ORDER BY day LIMIT 1)"
        " UNION ALL SELECT * FROM (SELECT to_ms, to_ms FROM block WHERE series = ?1 ORDER BY day DESC LIMIT 1))",
        (series,),
    ).fetchone()
    return None if row[0] is None else (int(row[0]), int(row[1]))


def latest(store: Store, wanted: Collection[int]) -> dict[int, Reading]:
    """The newest reading by time of each wanted series that has any; ``number`` is still unscaled."""
    if not wanted:
        return {}
    marks = ",".join("?" * len(wanted))
    rows = store.connection.execute(
        # SQLite gives the other columns of the row that holds the maximum ("bare columns in an aggregate query").
        f"SELECT series, max(at), number, quality FROM fresh WHERE series IN ({marks}) GROUP BY series",  # noqa: S608  only question marks
        tuple(wanted),
    )
    found = {row[0]: Reading(*row) for row in rows}
    for series in wanted:
        row = store.connection.execute(
            "SELECT day, to_ms FROM block WHERE series = ? ORDER BY day DESC LIMIT 1", (series,)
        ).fetchone()
        if row is not None and (series not in found or found[series].at_ms <= row[1]):
            block = block_of(store, series, row[0])
            found[series] = Reading(series, row[1], float(block.number[-1]), int(block.quality[-1]))
    return found


def fresh_after(store: Store, after_id: int, limit: int) -> list[tuple[int, int, int, float, int]]:
    """Up to ``limit`` stored rows (id, series, at_ms, number, quality) with a greater id, in stored order."""
    return store.connection.execute(
        "SELECT id, series, at, number, quality FROM fresh WHERE id > ? ORDER BY id LIMIT ?", (after_id, limit)
    ).fetchall()


def newest(store: Store, series: int, count: int) -> list[HistoryRow]:
    """The last ``count`` fresh readings of a series in the order they were stored, oldest first."""
    dated = scales(store, series)
    rows = store.connection.execute(
        "SELECT at, number, quality FROM fresh WHERE series = ? ORDER BY id DESC LIMIT ?", (series, count)
    ).fetchall()
    return [HistoryRow(at, value_at(dated, at, number), quality) for at, number, quality in reversed(rows)]


def first_fresh_since(store: Store, at_ms: int) -> int:
    """The id before the first stored row that is not older than at_ms: where a follower without a past begins."""
    newest_id = int(store.connection.execute("SELECT max(id) FROM fresh").fetchone()[0] or 0)
    row = store.connection.execute(
        "SELECT min(id) FROM fresh WHERE id > ? AND at >= ?", (newest_id - LOOKED_BACK, at_ms)
    ).fetchone()
    return newest_id if row[0] is None else int(row[0]) - 1


def judged_until(store: Store, last_id: int) -> dict[int, int]:
    """Series -> time of its newest reading among the last rows up to last_id."""
    rows = store.connection.execute(
        "SELECT series, max(at) FROM fresh WHERE id > ? AND id <= ? GROUP BY series", (last_id - LOOKED_BACK, last_id)
    )
    return dict(rows.fetchall())
