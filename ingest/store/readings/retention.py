"""Retention: what the owner no longer wants is dropped, a little at a time. By default nothing is."""

from __future__ import annotations

__all__ = ["drop_old"]

from typing import Final

from ingest.store.change_feed import DAY_MS, DROPPED, cursor, set_cursor
from ingest.store.connection import Store
from ingest.store.readings.summary import LEVELS

_AT_ONCE: Final = 50
_HOURS_AT_ONCE: Final = 2000


def drop_old(
    store: Store, now_ms: int, keep_raw_s: float | None, keep_minutes_s: float | None, keep_hours_s: float | None
) -> bool:
    """Drop some of what is older than wished (None: keep for ever); False when nothing is left to drop.

    Whole days go, once their last moment is old enough. Summaries by day are kept for ever, as the journal and alarms
    are. A day's raw readings go only after its summaries were made.
    """
    with store.write() as connection:
        dropped = 0
        if keep_raw_s is not None:
            going = connection.execute(
                "SELECT block.id, day FROM block JOIN minutes USING (series, day) WHERE day < ? LIMIT ?",
                (_first_kept_day(now_ms, keep_raw_s), _AT_ONCE),
            ).fetchall()
            if going:
                connection.executemany("DELETE FROM block WHERE id = ?", ((number,) for number, _ in going))
                end = max(day for _, day in going) + 1
                set_cursor(connection, DROPPED, max(end, cursor(store, DROPPED) or 0))
            dropped += len(going)
        if keep_minutes_s is not None:
            # While raw readings are there, settled or fresh, the minutes are needed as the sign that the day was summed
            # up.
            dropped += connection.execute(
                "DELETE FROM minutes WHERE id IN (SELECT minutes.id FROM minutes LEFT JOIN block USING (series, day)"
                " LEFT JOIN (SELECT series, min(at) / ? AS day FROM fresh GROUP BY series) AS held"
                " ON held.series = minutes.series"
                " WHERE minutes.day < ? AND minutes.day < coalesce(held.day, minutes.day + 1) AND block.id IS NULL"
                " LIMIT ?)",
                (DAY_MS, _first_kept_day(now_ms, keep_minutes_s), _AT_ONCE),
            ).rowcount
        if keep_hours_s is not None:
            dropped += connection.execute(
                "DELETE FROM summary WHERE (series, span_ms, from_ms) IN (SELECT series, span_ms, from_ms FROM summary"
                " WHERE span_ms = ? AND from_ms < ? LIMIT ?)",
                (LEVELS["hour"], _first_kept_day(now_ms, keep_hours_s) * DAY_MS, _HOURS_AT_ONCE),
            ).rowcount
    return dropped > 0


def _first_kept_day(now_ms: int, keep_s: float) -> int:
    return (now_ms - round(keep_s * 1000)) // DAY_MS
