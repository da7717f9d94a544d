"""A past for a benchmark's store: readings of every series at an even pace up to now, in the order of arrival."""

from __future__ import annotations

__all__ = ["fill"]

from collections.abc import Sequence

from ingest.store import Store
from ingest.store.readings.fresh import Appender

_BATCH = 100_000


def fill(store: Store, series: Sequence[int], rows: int, every_ms: int, until_ms: int) -> None:
    """Put so many readings of 17.00 to 17.06 °C into the store, each series one every ``every_ms``."""
    appender = Appender(store)
    rounds = -(-rows // len(series))
    first_ms = until_ms - rounds * every_ms
    for start in range(0, rows, _BATCH):
        appender.commit(
            [
                (series[row % len(series)], first_ms + row // len(series) * every_ms, 17 + row % 7 / 100, 0)
                for row in range(start, min(start + _BATCH, rows))
            ]
        )
