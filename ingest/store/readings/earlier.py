"""What a series read about a time ago, for a message: found quickly, whatever lies in the store."""

from __future__ import annotations

__all__ = ["Earlier"]

from typing import Final

from ingest.store.connection import Store
from ingest.store.readings.scales import scales, value_at
from ingest.store.readings.summary import LEVELS

# Fresh rows that are looked through, back from the time: about an hour of sixty probes.
_LOOKED_THROUGH: Final = 5000
_HOUR_MS: Final = LEVELS["hour"]


class Earlier:
    """Finds values of about one time, of any number of series; make a new one for each time.

    at_ms: the time, UTC ms; within_ms: a reading counts that is at most so much older.
    """

    def __init__(self, store: Store, at_ms: int, within_ms: int) -> None:
        self._store = store
        self._at_ms = at_ms
        self._within_ms = within_ms
        self._last_id: int | None = None

    def value(self, series: int) -> float | None:
        """Give the newest good reading of a series before that time, in the quantity's unit, None without one.

        Of settled readings the mean of the hour is given, which is at hand; fresh ones that came late may be missed.
        """
        if self._last_id is None:
            self._last_id = self._place()
        row = self._store.connection.execute(
            "SELECT at, number FROM fresh WHERE id > ? AND id <= ? AND series = ? AND at > ? AND at <= ?"
            " AND quality & 3 = 0 ORDER BY id DESC LIMIT 1",
            (
                self._last_id - _LOOKED_THROUGH,
                self._last_id,
                series,
                self._at_ms - self._within_ms,
                self._at_ms,
            ),
        ).fetchone()
        if row is not None:
            return value_at(scales(self._store, series), *row)
        hour = self._store.connection.execute(
            "SELECT mean FROM summary WHERE series = ? AND span_ms = ? AND from_ms = ?",
            (series, _HOUR_MS, self._at_ms // _HOUR_MS * _HOUR_MS),
        ).fetchone()
        return None if hour is None or hour[0] is None else float(hour[0])

    def _place(self) -> int:
        """The id of the last fresh row that is not newer: rows come about in order of time, so it is halved for."""
        first, last = self._store.connection.execute(
            "SELECT coalesce((SELECT min(id) FROM fresh), 0), coalesce((SELECT max(id) FROM fresh), -1)"
        ).fetchone()
        while first <= last:
            middle = (first + last) // 2
            # What was settled has left gaps between the ids.
            id, at_ms = self._store.connection.execute(
                "SELECT id, at FROM fresh WHERE id >= ? ORDER BY id LIMIT 1", (middle,)
            ).fetchone()
            if at_ms <= self._at_ms:
                first = id + 1
            else:
                last = middle - 1
        return int(last)
