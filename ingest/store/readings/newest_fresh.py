"""The newest fresh readings, by their own time, found without a look at the whole table where that is certain enough.

``fresh`` is a log in the order of arrival, without an index by time. Nearly every series has its newest reading among
the last rows. But rows may come late, such as a backlog, and then a later reading lies further back. So what is found
among the last rows counts only if it is later than what lies before them. That is known from samples: the rows just
before, and a few at places spread over all of the table.
"""

from __future__ import annotations

__all__ = ["newest_fresh"]

from collections.abc import Collection
from typing import Final

from ingest.reading import Quality, Reading
from ingest.store.connection import Store

# How many of the last rows are looked at, and then how many more: minutes to hours of sixty probes.
_LAST_ROWS: Final = (5_000, 100_000)
# The samples of what lies before them, in rows: enough that each probe which reads often is among the rows just before.
_JUST_BEFORE: Final = 2_000
_PLACES: Final = 32
_AT_A_PLACE: Final = 50


def newest_fresh(
    store: Store, wanted: Collection[int], until_ms: int, *, least: Quality = Quality.BAD
) -> dict[int, Reading]:
    """Give the newest reading by time, not after until_ms (UTC ms), of each wanted series that has fresh ones;
    ``number`` is unscaled. least: the worst quality that counts.

    A series that has been silent for long costs a look at the whole table, and so do readings of the past (until_ms).
    """
    newest: dict[int, Reading] = {}
    # In two questions: of both at once SQLite would look at every row.
    first_id, last_id = store.connection.execute(
        "SELECT coalesce((SELECT min(id) FROM fresh), 0), coalesce((SELECT max(id) FROM fresh), 0)"
    ).fetchone()
    missing = [*wanted]
    for rows in _LAST_ROWS:
        after_id = last_id - rows
        # A look at a third of the table, and samples, are not worth it.
        if not missing or after_id - first_id < 2 * rows:
            break
        before_ms = _latest_before(store, first_id, after_id, until_ms)
        last = _newest(store, missing, until_ms, after_id, least)
        newest |= {series: reading for series, reading in last.items() if reading.at_ms > before_ms}
        missing = [series for series in missing if series not in newest]
    if missing:
        newest |= _newest(store, missing, until_ms, -1, least)
    return newest


def _newest(store: Store, wanted: Collection[int], until_ms: int, after_id: int, least: Quality) -> dict[int, Reading]:
    marks = ",".join("?" * len(wanted))
    rows = store.connection.execute(
        # SQLite gives the other columns of the row that holds the maximum ("bare columns in an aggregate query").
        f"SELECT series, max(at), number, quality FROM fresh WHERE id > ? AND at <= ? AND quality & 3 <= ?"  # noqa: S608  only question marks
        f" AND series IN ({marks}) GROUP BY series",
        (after_id, until_ms, int(least), *wanted),
    )
    return {row[0]: Reading(*row) for row in rows}


def _latest_before(store: Store, first_id: int, last_id: int, until_ms: int) -> int:
    """The latest time up to until_ms among samples of the rows from first_id to last_id."""
    step = max(1, (last_id - first_id) // _PLACES)
    spans = [(last_id - _JUST_BEFORE, last_id), *((id, id + _AT_A_PLACE) for id in range(first_id, last_id, step))]
    latest_ms = 0
    for after_id, until_id in spans:
        (at_ms,) = store.connection.execute(
            "SELECT max(at) FROM fresh WHERE id >= ? AND id <= ? AND at <= ?",
            (after_id, min(until_id, last_id), until_ms),
        ).fetchone()
        latest_ms = max(latest_ms, at_ms or 0)
    return latest_ms
