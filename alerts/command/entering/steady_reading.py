"""What a pH probe shows now, once it stands still."""

from __future__ import annotations

__all__ = ["steady_ph"]

from typing import Final

from ingest.errors import IngestError
from ingest.reading import Quality
from ingest.store import Store
from ingest.store.readings.series_history import newest

_LOOK_BACK_MS: Final = 60_000
# Readings of the last minute that are further apart are not settled (a choice of this project).
_SETTLED_PH: Final = 0.02
_ROWS: Final = 200


def steady_ph(store: Store, series: int, now_ms: int) -> float:
    """Give the newest pH of a series, if what came in the last minute stands still.

    now_ms: UTC ms. Raises IngestError where nothing came in that minute, and while it still moves.
    """
    values = [
        row.value
        for row in newest(store, series, _ROWS)
        if now_ms - _LOOK_BACK_MS <= row.at_ms and row.quality & 3 == int(Quality.GOOD)
    ]
    if not values:
        raise IngestError("no good reading came in the last minute; wait for one, or type what it shows")
    if max(values) - min(values) > _SETTLED_PH:
        raise IngestError(
            f"it still moves: {min(values):.2f} to {max(values):.2f} in the last minute. Wait until it stands still, "
            "or type what it shows"
        )
    return values[-1]
