"""What a turn is given: new readings, what operators did, and the time."""

from __future__ import annotations

__all__ = ["Now", "OperatorEvent", "WatchReading", "counts_as_data", "may_be_judged"]

import math
from dataclasses import dataclass
from typing import NamedTuple

from ingest.reading import Quality, Reason, quality_class, quality_reason


class WatchReading(NamedTuple):
    """A reading on its way to the limits.

    probe: the probe's id; at_ms: the reading's own time, UTC milliseconds by whatever clock stamped it;
    value: in our unit of the quantity (kPa gauge, °C, pH); quality: as ``ingest.reading.quality_code`` makes it.
    """

    probe: str
    at_ms: int
    value: float
    quality: int = 0


class Now(NamedTuple):
    """The time, read once at the top of a turn. utc_ms: UTC milliseconds; mono: ``time.monotonic()``, seconds."""

    utc_ms: int
    mono: float


@dataclass(frozen=True, slots=True)
class OperatorEvent:
    """Something that a person asked for, to be applied by the next turn.

    id: the row it is stored under; kind: ``acknowledge`` is the only one so far; target: an occurrence's id or a
    limit's key; who: the person; at_ms: when it was asked, UTC milliseconds; note: free text.
    """

    id: int
    kind: str
    target: str
    who: str
    at_ms: int
    note: str = ""


def counts_as_data(quality: int) -> bool:
    """Whether a reading of this quality shows that the probe is alive. What was imported shows nothing of the sort."""
    return quality_reason(quality) is not Reason.IMPORTED


def may_be_judged(value: float, quality: int) -> bool:
    """Whether a limit may judge by this value: a finite number of good quality.

    A reading that is uncertain only because the board's clock is not yet believed counts as good: the value is sound,
    and alarms have to run on a board that started without the time.
    """
    sound = quality_class(quality) is Quality.GOOD or (
        quality_class(quality) is Quality.UNCERTAIN and quality_reason(quality) is Reason.CLOCK
    )
    return sound and math.isfinite(value)
