"""The compensated pressure beside the readings of a pressure: of each hour the last that was judged."""

from __future__ import annotations

__all__ = ["CompensatedPressure"]

from typing import Final

from ingest.judgement import Judgement
from ingest.store import Store
from ingest.store.judgements import HOUR_MS, judgement_history

_NAME: Final = "compensated_pressure"
_PIECE_MS: Final = 24 * HOUR_MS


class CompensatedPressure:
    """Gives it by place and time. It reads a day of a place at a time, since readings come in order."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._piece: tuple[str, int] | None = None
        self._by_hour: dict[int, Judgement] = {}

    def at(self, place: str | None, at_ms: int) -> Judgement | None:
        """Give its judgement [kPa gauge] of the hour that holds a time (UTC ms), None where there is none."""
        if place is None:
            return None
        piece = (place, at_ms // _PIECE_MS)
        if piece != self._piece:
            from_ms = piece[1] * _PIECE_MS
            hours = judgement_history(self._store, (place,), _NAME, from_ms, from_ms + _PIECE_MS - 1)
            self._piece, self._by_hour = piece, {hour.at_ms // HOUR_MS: hour for hour in hours}
        return self._by_hour.get(at_ms // HOUR_MS)
