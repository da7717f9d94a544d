"""What a pH probe shows while it stands in a buffer, and whether it stands still yet."""

from __future__ import annotations

__all__ = ["PhInBuffer", "ph_in_buffer"]

from collections.abc import Sequence
from typing import Final, Literal, NamedTuple

from ingest.cellar import Probe
from ingest.reading import Quality
from ingest.store import Store
from ingest.store.readings.series_history import HistoryRow, newest

# All of these are choices of this project, made for a probe that shows hundredths of a pH.
# For how long the readings must lie together; of a slow probe longer, so that more than one counts.
_LOOK_BACK_MS: Final = 60_000
_LOOK_BACK_READINGS: Final = 2.5
# One reading alone, or several of one moment, do not show that a probe stands still.
_LEAST_SPAN_MS: Final = 30_000
# Readings that are further apart are not settled.
_SETTLED_PH: Final = 0.02
# 7.04 less 7.02 is a little more than 0.02.
_ROUNDING_PH: Final = 1e-9
# The newest are looked at; a minute has fewer of them, even from a probe that sends three a second.
_ROWS: Final = 200


class PhInBuffer(NamedTuple):
    """The good readings of the last while, as far as they say what a buffer reads.

    at_ms, ph: of the newest one, None if there is none; low, high: of all that are looked at (pH); window_ms: how far
    back that is.
    """

    state: Literal["no reading", "moves", "too short", "still"]
    window_ms: int
    at_ms: int | None = None
    ph: float | None = None
    low: float = 0.0
    high: float = 0.0

    @property
    def is_still(self) -> bool:
        """Whether ``ph`` may be taken for what the buffer reads."""
        return self.state == "still"

    @property
    def wait(self) -> str:
        """Say why it cannot be taken yet, and what to do; "" if it can."""
        if self.state == "no reading":
            return f"no good reading came {self.span}; wait for one, or type what it shows"
        if self.state == "moves":
            return (
                f"it still moves: {self.low:.2f} to {self.high:.2f} {self.span}. Wait until it stands still, "
                "or type what it shows"
            )
        if self.state == "too short":
            return "it has not stood still for half a minute yet; wait, or type what it shows"
        return ""

    @property
    def span(self) -> str:
        """Say how far back is looked, such as "in the last minute"."""
        seconds = self.window_ms // 1000
        return "in the last minute" if seconds == 60 else f"in the last {seconds} s"


def ph_in_buffer(store: Store, probe: Probe, series: int, now_ms: int, *, after_ms: int | None = None) -> PhInBuffer:
    """Look at the newest readings of a pH probe's series.

    The probe stands still if its good readings of the last minute lie within 0.02 pH and span half a minute. Where
    fewer came in that minute, and the cellar file says that it sends seldom, it is looked back over two readings and a
    half.

    now_ms: UTC ms; after_ms: the time of the reading that was taken in the buffer before; only later ones count.
    """
    good = sorted(
        row
        for row in newest(store, series, _ROWS)
        if row.quality & 3 == int(Quality.GOOD) and (after_ms is None or row.at_ms > after_ms)
    )
    window_ms = _LOOK_BACK_MS
    rows = [row for row in good if row.at_ms >= now_ms - window_ms]
    if not _span_long_enough(rows):
        window_ms = max(window_ms, round(_LOOK_BACK_READINGS * probe.every_s * 1000))
        rows = [row for row in good if row.at_ms >= now_ms - window_ms]
    if not rows:
        return PhInBuffer("no reading", window_ms)
    values = [row.value for row in rows]
    low, high, (at_ms, ph, _) = min(values), max(values), rows[-1]
    state: Literal["moves", "too short", "still"] = "still"
    if high - low > _SETTLED_PH + _ROUNDING_PH:
        state = "moves"
    elif not _span_long_enough(rows):
        state = "too short"
    return PhInBuffer(state, window_ms, at_ms, ph, low, high)


def _span_long_enough(rows: Sequence[HistoryRow]) -> bool:
    return len(rows) > 1 and rows[-1].at_ms - rows[0].at_ms >= _LEAST_SPAN_MS
