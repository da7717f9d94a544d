"""Readings of one probe that are as they should be: what nearly all turns bring, and what can be judged as a whole."""

from __future__ import annotations

__all__ = ["GoodRun", "good_run"]

import math
from collections.abc import Sequence
from typing import NamedTuple

from alerts.watch.turn_inputs import WatchReading


class GoodRun(NamedTuple):
    """Good readings of one probe, none of them earlier than the one before.

    first_ms, last_ms: the own times of the first and the last, UTC milliseconds; lowest, highest, last: of the values;
    finding: of the last one.
    """

    first_ms: int
    last_ms: int
    lowest: float
    highest: float
    last: float
    finding: str


def good_run(readings: Sequence[WatchReading]) -> GoodRun | None:
    """Make the run of readings of one probe, at least one, in the order in which they came.

    None where one of them is not good, or late: then each is judged by itself.
    """
    _, times, values, qualities, findings = zip(*readings, strict=True)
    # A sum is finite only if all are; where it overflows the readings are judged one by one.
    if any(qualities) or not math.isfinite(sum(values)) or list(times) != sorted(times):
        return None
    return GoodRun(times[0], times[-1], min(values), max(values), values[-1], findings[-1])
