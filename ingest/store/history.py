"""Reading readings back: in order of time, each time once, in our units."""

from __future__ import annotations

__all__ = ["HistoryRow", "first_fresh_since", "fresh_after", "judged_until", "latest", "newest", "raw"]

from collections.abc import Collection, Iterator
from typing import NamedTuple

from ingest.probes.reading import Reading
from ingest.store.connection import Store
from ingest.store.scale import scales, value_at


# How many of the newest rows are looked at where a few hours are enough; a whole year of them would take seconds.
LOOKED_BACK = 100_000


class HistoryRow(NamedTuple):
    """at_ms: UTC ms; value: in the quantity's unit, through the dated scale; quality: see ingest.probes.reading."""

    at_ms: int
    value: float
    quality: int


def raw(store: Store, series: int, from_ms: int = 0, to_ms: int = 1 << 62) -> Iterator[HistoryRow]:
    """Readings of a series with from_ms <= at < to_ms, oldest first. Of two with one time the first stored counts."""
    dated = scales(store, series)
    rows = store.connection.execute(
        "SELECT at, number, quality FROM fresh WHERE series = ? AND at >= ? AND at < ? ORDER BY at, id",
        (series, from_ms, to_ms),
    )
    previous = None
    for at, number, quality in rows:
        if at == previous:
            continue
        previous = at
        yield HistoryRow(at, value_at(dated, at, number), quality)


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
    return {row[0]: Reading(*row) for row in rows}


def fresh_after(store: Store, after_id: int, limit: int) -> list[tuple[int, int, int, float, int]]:
    """Up to ``limit`` stored rows (id, series, at_ms, number, quality) with a greater id, in stored order."""
    return store.connection.execute(
        "SELECT id, series, at, number, quality FROM fresh WHERE id > ? ORDER BY id LIMIT ?", (after_id, limit)
    ).fetchall()


def newest(store: Store, series: int, count: int) -> list[HistoryRow]:
    """The last ``count`` readings of a series in the order they were stored, oldest first."""
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
