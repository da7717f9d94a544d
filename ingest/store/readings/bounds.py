"""From when to when there are readings within a span: a look at the ends, not at what lies between."""

from __future__ import annotations

__all__ = ["first_and_last"]

from typing import Final

import numpy as np

from ingest.store.change_feed import DROPPED, cursor
from ingest.store.connection import Store
from ingest.store.readings.settling import DAY_MS, block_of

_BLOCKS: Final = (
    "SELECT day, from_ms, to_ms FROM block"
    " WHERE series = ? AND day >= ? AND day <= ? AND to_ms >= ? AND from_ms < ? ORDER BY day"
)


def first_and_last(store: Store, series: int, from_ms: int, to_ms: int) -> tuple[int, int] | None:
    """(time of the first, time of the last) reading with from_ms <= at < to_ms, UTC ms; None if there is none.

    Days of which only summaries are left count as far as they lie in the span.
    """
    # Fresh ones first: what is settled between the two looks is then seen twice, never overlooked.
    ends = list(
        store.connection.execute(
            "SELECT min(at), max(at) FROM fresh WHERE series = ? AND at >= ? AND at < ?", (series, from_ms, to_ms)
        ).fetchone()
    )
    wanted = (series, from_ms // DAY_MS, (to_ms - 1) // DAY_MS, from_ms, to_ms)
    for order in ("ASC", "DESC"):
        for day, first_ms, last_ms in store.connection.execute(f"{_BLOCKS} {order}", wanted):
            if first_ms < from_ms or last_ms >= to_ms:
                times = block_of(store, series, day).at_ms
                inside = times[np.searchsorted(times, from_ms) : np.searchsorted(times, to_ms)]
                if not len(inside):
                    continue
                first_ms, last_ms = int(inside[0]), int(inside[-1])  # noqa: PLW2901  only what lies within the span
            ends += [first_ms, last_ms]
            break
    dropped = cursor(store, DROPPED)
    if dropped is not None:
        first_ms, last_ms = store.connection.execute(
            "SELECT min(from_ms), max(from_ms) FROM summary"
            " WHERE series = ? AND span_ms = ? AND from_ms > ? AND from_ms < ?",
            (series, DAY_MS, from_ms - DAY_MS, min(to_ms, dropped * DAY_MS)),
        ).fetchone()
        if first_ms is not None:
            ends += [max(first_ms, from_ms), min(last_ms + DAY_MS, to_ms) - 1]
    known = [int(end) for end in ends if end is not None]
    return (min(known), max(known)) if known else None
