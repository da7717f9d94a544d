"""Stored readings as limits are judged by them: of which probe, and in the scale that holds now."""

from __future__ import annotations

__all__ = ["ReadingFeed"]

from collections.abc import Mapping, Sequence
from typing import Final

from alerts.watch.turn_inputs import WatchReading, may_be_judged
from alerts.watch.watch_state import NewestReading
from ingest.probes.decode import MOST_AHEAD_MS
from ingest.store import Store
from ingest.store.readings.scales import newest_part_id, scales, value_at
from ingest.store.readings.series_history import newest_judged
from ingest.times import END_OF_TIME_MS

# The clock of a machine that is kept right by the network still moves by fractions of a second.
_TOLERANCE_MS: Final = 1000


class ReadingFeed:
    """The readings of the probes of the cellar file. series_of: of each probe its series."""

    def __init__(self, store: Store, series_of: Mapping[str, int]) -> None:
        self._store = store
        self._probe_of = {series: probe for probe, series in series_of.items()}
        self._scales = {series: scales(store, series) for series in self._probe_of}
        self._newest_part = newest_part_id(store)

    def readings(self, rows: Sequence[tuple[int, int, int, float, int]]) -> list[WatchReading]:
        """Make readings of rows (id, series, at_ms, unscaled number, quality); those of other probes are left out."""
        if rows:
            self._renew_scales()
        return [
            WatchReading(probe, at_ms, value_at(self._scales[series], at_ms, number), quality)
            for _, series, at_ms, number, quality in rows
            if (probe := self._probe_of.get(series)) is not None
        ]

    def newest(self, judged_id: int, now_ms: int, known_ms: int) -> dict[str, NewestReading]:
        """Find the newest reading of each probe up to the row that was judged last.

        now_ms: UTC ms; known_ms: the newest moment that was committed under a believed clock. A reading whose own time
        was ahead must not make late what comes after a restart; but where the clock is behind what was stored, it says
        nothing about that.
        """
        is_believed = now_ms >= known_ms - _TOLERANCE_MS
        until_ms = now_ms + MOST_AHEAD_MS if is_believed else END_OF_TIME_MS
        newest = {}
        for series, reading in newest_judged(self._store, self._probe_of, judged_id, until_ms).items():
            value = value_at(self._scales[series], reading.at_ms, reading.number)
            newest[self._probe_of[series]] = NewestReading(
                min(reading.at_ms, now_ms) if is_believed else reading.at_ms,
                value if may_be_judged(value, reading.quality) else None,
            )
        return newest

    def _renew_scales(self) -> None:
        """A calibration or the barometer may have changed what numbers mean since the last turn."""
        newest_part = newest_part_id(self._store)
        if newest_part != self._newest_part:
            self._scales = {series: scales(self._store, series) for series in self._probe_of}
            self._newest_part = newest_part
