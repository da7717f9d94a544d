"""One series read back: in order of time, each time once, in our units; fresh and settled readings as one.

The history of a probe, a place or a lot is asked of ``ingest.history``, which is made of this. Here are ``raw``,
``arrays`` and ``pieces`` (readings), ``latest``, ``newest`` and
``newest_good`` (how things stand), ``span`` (from when to when there
are any), and what serves those who follow the store; summaries are in ``summaries``.
"""

from __future__ import annotations

__all__ = [
    "HistoryRow",
    "arrays",
    "first_fresh_since",
    "fresh_after",
    "latest",
    "newest",
    "newest_good",
    "newest_judged",
    "newest_of_recent",
    "numbers_together",
    "pieces",
    "raw",
    "recent",
    "span",
    "together",
]

from collections.abc import Collection, Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np

from ingest.reading import Quality, Reading, Reason
from ingest.store.connection import Store
from ingest.store.readings.block import Arrays
from ingest.store.readings.newest_fresh import newest_fresh
from ingest.store.readings.scales import scales, value_at
from ingest.store.readings.scaling import scaled
from ingest.store.readings.settling import DAY_MS, block_of, merged
from ingest.times import END_OF_TIME_MS

# How many of the newest rows are looked at where a few hours are enough; a whole year of them would take seconds.
LOOKED_BACK = 100_000

# How many settled days are unpacked at most to find one with a reading that was not imported.
MOST_DAYS_BACK: Final = 31


# Through the index on series and day: a scan would read a page for each settled day.
_BLOCKS: Final = (
    "SELECT day, from_ms, to_ms FROM block"
    " WHERE series = ? AND day >= ? AND day <= ? AND to_ms >= ? AND from_ms < ? ORDER BY day"
)


class HistoryRow(NamedTuple):
    """at_ms: UTC ms; value: in the quantity's unit, through the dated scale; quality: see ingest.reading."""

    at_ms: int
    value: float
    quality: int


def raw(store: Store, series: int, from_ms: int = 0, to_ms: int = END_OF_TIME_MS) -> Iterator[HistoryRow]:
    """Readings of a series with from_ms <= at < to_ms, oldest first. Of two with one time the first stored counts."""
    for piece in pieces(store, series, from_ms, to_ms):
        yield from map(HistoryRow, *(column.tolist() for column in piece))


def arrays(store: Store, series: int, from_ms: int = 0, to_ms: int = END_OF_TIME_MS) -> Arrays:
    """What ``raw`` gives as numpy arrays: times, values (as ``number``), qualities."""
    return scaled(Arrays.joined(list(_numbers(store, series, from_ms, to_ms))), scales(store, series))


def pieces(store: Store, series: int, from_ms: int = 0, to_ms: int = END_OF_TIME_MS) -> Iterator[Arrays]:
    """What ``arrays`` gives, a settled day at a time, for spans of any length in little memory.

    The scale is that of the begin; a reader that goes through a span slowly watches the change feed meanwhile.
    """
    dated = scales(store, series)
    for piece in _numbers(store, series, from_ms, to_ms):
        yield scaled(piece, dated)


def together(store: Store, spans: Sequence[tuple[int, int, int]]) -> Iterator[tuple[int, Arrays]]:
    """(series, readings) of many short spans (series, from_ms, to_ms, both ends included) of about the same time.

    One look at ``fresh`` serves them all; asked one by one, each would read the whole table.
    """
    for series, readings in numbers_together(store, spans):
        yield series, scaled(readings, scales(store, series))


def numbers_together(store: Store, spans: Sequence[tuple[int, int, int]]) -> Iterator[tuple[int, Arrays]]:
    """What ``together`` gives, without the scales: for a reader that has scales of its own."""
    if not spans:
        return
    fresh_rows: dict[int, list[tuple[int, float, int]]] = {}
    wanted = sorted({span[0] for span in spans})
    rows = store.connection.execute(
        "SELECT series, at, number, quality FROM fresh WHERE at >= ? AND at <= ?"  # noqa: S608  only question marks
        f" AND series IN ({','.join('?' * len(wanted))}) ORDER BY id",
        (min(span[1] for span in spans), max(span[2] for span in spans), *wanted),
    )
    for series, at, number, quality in rows:
        fresh_rows.setdefault(series, []).append((at, number, quality))
    for series, from_ms, to_ms in spans:
        fresh = _distinct([row for row in fresh_rows.get(series, ()) if from_ms <= row[0] <= to_ms])
        readings = Arrays.joined(list(_with_settled(store, series, from_ms, to_ms + 1, fresh)))
        if len(readings.at_ms):
            yield series, readings


def _numbers(store: Store, series: int, from_ms: int, to_ms: int) -> Iterator[Arrays]:
    """Unscaled readings in order of time, a settled day at a time."""
    if from_ms >= to_ms:
        return
    rows = store.connection.execute(
        "SELECT at, number, quality FROM fresh WHERE series = ? AND at >= ? AND at < ? ORDER BY id",
        (series, from_ms, to_ms),
    ).fetchall()
    yield from _with_settled(store, series, from_ms, to_ms, _distinct(rows))


def _with_settled(store: Store, series: int, from_ms: int, to_ms: int, fresh: Arrays) -> Iterator[Arrays]:
    """Settled readings and the fresh ones of the same span, a settled day at a time.

    The fresh ones must have been read before: what is settled between the two looks is then seen twice and counted
    once, never overlooked.
    """
    days = store.connection.execute(_BLOCKS, _blocks_of(series, from_ms, to_ms)).fetchall()
    begin = 0
    for day, _, _ in days:
        block = block_of(store, series, day)
        first, last = np.searchsorted(block.at_ms, (from_ms, to_ms))
        end = int(np.searchsorted(fresh.at_ms, (day + 1) * DAY_MS))
        piece = merged(block.part(slice(int(first), int(last))), fresh.part(slice(begin, end)))
        begin = end
        if len(piece.at_ms):
            yield piece
    if begin < len(fresh.at_ms):
        yield fresh.part(slice(begin, None))


def _blocks_of(series: int, from_ms: int, to_ms: int) -> tuple[int, int, int, int, int]:
    return series, from_ms // DAY_MS, (to_ms - 1) // DAY_MS, from_ms, to_ms


def _distinct(rows: Sequence[tuple[int, float, int]]) -> Arrays:
    """Rows in their order of storing, by time; of two with one time the first counts."""
    return merged(Arrays.empty(), Arrays.of(rows))


def span(store: Store, series: int, from_ms: int = 0, to_ms: int = END_OF_TIME_MS) -> tuple[int, int] | None:
    """(time of the first, time of the last) reading with from_ms <= at < to_ms, UTC ms; None if there is none.

    Only the ends are looked at, not what lies between.
    """
    if from_ms >= to_ms:
        return None
    # Fresh ones first: what is settled between the two looks is then seen twice, never overlooked.
    ends = list(
        store.connection.execute(
            "SELECT min(at), max(at) FROM fresh WHERE series = ? AND at >= ? AND at < ?", (series, from_ms, to_ms)
        ).fetchone()
    )
    for order in ("ASC", "DESC"):
        for day, first_ms, last_ms in store.connection.execute(
            f"{_BLOCKS} {order}", _blocks_of(series, from_ms, to_ms)
        ):
            if first_ms < from_ms or last_ms >= to_ms:
                times = block_of(store, series, day).at_ms
                inside = times[np.searchsorted(times, from_ms) : np.searchsorted(times, to_ms)]
                if not len(inside):
                    continue
                first_ms, last_ms = int(inside[0]), int(inside[-1])  # noqa: PLW2901  only what lies within the span
            ends += [first_ms, last_ms]
            break
    known = [int(end) for end in ends if end is not None]
    return (min(known), max(known)) if known else None


def latest(store: Store, wanted: Collection[int], until_ms: int = END_OF_TIME_MS) -> dict[int, Reading]:
    """The newest reading by time, not after until_ms, of each wanted series that has any; ``number`` is unscaled."""
    readings = newest_fresh(store, wanted, until_ms)
    for series in wanted:
        row = store.connection.execute(
            "SELECT day, to_ms FROM block WHERE series = ? AND from_ms <= ? ORDER BY day DESC LIMIT 1",
            (series, until_ms),
        ).fetchone()
        if row is not None and (series not in readings or readings[series].at_ms <= row[1]):
            block = block_of(store, series, row[0])
            place = int(np.searchsorted(block.at_ms, until_ms, "right")) - 1
            at_ms = int(block.at_ms[place])
            if series not in readings or readings[series].at_ms <= at_ms:
                readings[series] = Reading(series, at_ms, float(block.number[place]), int(block.quality[place]))
    return readings


def newest_good(store: Store, series: int, from_ms: int, until_ms: int) -> HistoryRow | None:
    """The newest good reading of a series with from_ms <= at <= until_ms, by time; None if there is none."""
    fresh = newest_fresh(store, [series], until_ms, least=Quality.GOOD).get(series)
    is_fresh = fresh is not None and fresh.at_ms >= from_ms
    begin_ms = fresh.at_ms if fresh is not None and is_fresh else from_ms
    newest = fresh if is_fresh else None
    days = store.connection.execute(f"{_BLOCKS} DESC", _blocks_of(series, begin_ms, until_ms + 1)).fetchall()
    for day, _, _ in days:
        block = block_of(store, series, day)
        good = (block.at_ms >= begin_ms) & (block.at_ms <= until_ms) & (block.quality & 3 == int(Quality.GOOD))
        places = np.flatnonzero(good)
        if len(places):
            place = int(places[-1])
            newest = Reading(series, int(block.at_ms[place]), float(block.number[place]), int(block.quality[place]))
            break
    if newest is None:
        return None
    return HistoryRow(newest.at_ms, value_at(scales(store, series), newest.at_ms, newest.number), newest.quality)


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


def newest_of_recent(store: Store, series: int) -> HistoryRow | None:
    """The newest reading of a series among the newest 100,000 rows of all series. Quick whatever lies in the store."""
    row = store.connection.execute(
        "SELECT at, number, quality FROM fresh WHERE id > (SELECT max(id) FROM fresh) - ? AND series = ?"
        " ORDER BY id DESC LIMIT 1",
        (LOOKED_BACK, series),
    ).fetchone()
    return None if row is None else HistoryRow(row[0], value_at(scales(store, series), row[0], row[1]), row[2])


def recent(store: Store, series: int, since_ms: int) -> list[HistoryRow]:
    """Fresh readings of a series since then, oldest first, among the newest 100,000 rows of all series.

    Those are a few hours of many probes; a reading that came late may be left out. Quick whatever lies in the store. Of
    two with one time the first one counts.
    """
    newest_id = int(store.connection.execute("SELECT max(id) FROM fresh").fetchone()[0] or 0)
    after_id = newest_id - LOOKED_BACK
    for rows_back in (LOOKED_BACK // 20, LOOKED_BACK // 5):
        # Rows come about in order of time: behind one that is older there is hardly one that is not.
        row = store.connection.execute("SELECT at FROM fresh WHERE id = ?", (newest_id - rows_back,)).fetchone()
        if row is not None and row[0] < since_ms:
            after_id = newest_id - rows_back
            break
    rows = store.connection.execute(
        "SELECT at, number, quality FROM fresh WHERE id > ? AND series = ? AND at >= ? ORDER BY at, id",
        (after_id, series, since_ms),
    )
    dated = scales(store, series)
    first_stored: dict[int, HistoryRow] = {}
    for at, number, quality in rows:
        first_stored.setdefault(at, HistoryRow(at, value_at(dated, at, number), quality))
    return list(first_stored.values())


def first_fresh_since(store: Store, at_ms: int) -> int:
    """The id before the first stored row that is not older than at_ms: where a follower without a place begins."""
    newest_id = int(store.connection.execute("SELECT max(id) FROM fresh").fetchone()[0] or 0)
    row = store.connection.execute(
        "SELECT min(id) FROM fresh WHERE id > ? AND at >= ?", (newest_id - LOOKED_BACK, at_ms)
    ).fetchone()
    return newest_id if row[0] is None else int(row[0]) - 1


def newest_judged(store: Store, wanted: Collection[int], last_id: int, until_ms: int) -> dict[int, Reading]:
    """The newest reading by time, not after until_ms, of each wanted series, among the rows up to last_id and what was
    settled. Imported readings do not count. ``number`` is still unscaled.
    """
    readings: dict[int, Reading] = {}
    # Nearly all have a row among the last ones; only for the others all of the table is read.
    for after_id in (last_id - LOOKED_BACK, -1):
        missing = [series for series in wanted if series not in readings]
        if missing:
            marks = ",".join("?" * len(missing))
            rows = store.connection.execute(
                "SELECT series, max(at), number, quality FROM fresh"  # noqa: S608  only question marks
                f" WHERE id > ? AND id <= ? AND at <= ? AND (quality >> 2) & 63 <> ? AND series IN ({marks})"
                " GROUP BY series",
                (after_id, last_id, until_ms, int(Reason.IMPORTED), *missing),
            )
            readings |= {row[0]: Reading(*row) for row in rows}
    for series in wanted:
        settled = _newest_settled(store, series, until_ms)
        if settled is not None and (series not in readings or readings[series].at_ms <= settled.at_ms):
            readings[series] = settled
    return readings


def _newest_settled(store: Store, series: int, until_ms: int) -> Reading | None:
    days = store.connection.execute(
        "SELECT day FROM block WHERE series = ? AND from_ms <= ? ORDER BY day DESC LIMIT ?",
        (series, until_ms, MOST_DAYS_BACK),
    ).fetchall()
    for (day,) in days:
        block = block_of(store, series, day)
        sent = (block.at_ms <= until_ms) & ((block.quality >> 2) & 63 != int(Reason.IMPORTED))
        places = np.flatnonzero(sent)
        if len(places):
            place = int(places[-1])
            return Reading(series, int(block.at_ms[place]), float(block.number[place]), int(block.quality[place]))
    return None
