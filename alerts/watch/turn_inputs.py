"""What a turn is given: what is new, and the time."""

from __future__ import annotations

__all__ = [
    "DueFact",
    "Now",
    "TurnInputs",
    "WatchReading",
    "counts_as_data",
    "is_in_doubt",
    "is_saturated",
    "may_be_judged",
]

import math
from collections.abc import Mapping, Sequence
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

from ingest.machine_clock import EvenTime
from ingest.operator_event import OperatorEvent
from ingest.reading import Quality, Reason, quality_class, quality_reason


class WatchReading(NamedTuple):
    """A reading on its way to the limits.

    probe: the probe's id; at_ms: the reading's own time, UTC milliseconds by whatever clock stamped it;
    value: in our unit of the quantity (kPa gauge, °C, pH); quality: as ``ingest.reading.quality_code`` makes it;
    finding: of a judgement that limits are judged by as by a reading, else "".
    """

    probe: str
    at_ms: int
    value: float
    quality: int = 0
    finding: str = ""


class Now(NamedTuple):
    """The time, read once at the top of a turn.

    utc_ms: UTC milliseconds; mono: ``time.monotonic()``, seconds; boot: the kernel's id of the boot in which those
    count, "" where it is unknown.
    """

    utc_ms: int
    mono: float
    boot: str = ""

    @property
    def even(self) -> EvenTime | None:
        """The moment by the even clock alone, None where the boot is unknown."""
        return EvenTime(self.boot, self.mono) if self.boot else None


class DueFact(NamedTuple):
    """What the journal says of a work, for its limit.

    from_ms: when it was done last, or since when it is awaited; due_ms: when it falls due; UTC ms. finding: how a
    message says what happened at from_ms.
    """

    from_ms: int
    due_ms: int
    finding: str


class TurnInputs(NamedTuple):
    """What is new since the last turn.

    readings: those of a probe in the order in which they came; readings of unknown probes are passed over. health: the
    key of a limit on leeside itself -> when its part was last known to be well, UTC ms. events: what people asked for,
    oldest first. quiet: the keys of limits that say nothing now by the journal, each with the reason. Keys of no limit
    are passed over. due: by the key of a limit on work that falls due, what the journal says of it, None where it is no
    longer awaited; only where that may have changed.
    """

    readings: Sequence[WatchReading] = ()
    health: Mapping[str, int] = MappingProxyType({})
    events: Sequence[OperatorEvent] = ()
    quiet: Mapping[str, str] = MappingProxyType({})
    due: Mapping[str, DueFact | None] = MappingProxyType({})


@cache
def counts_as_data(quality: int) -> bool:
    """Whether a reading of this quality shows that the probe is alive; an imported one does not."""
    return quality_reason(quality) is not Reason.IMPORTED


@cache
def is_in_doubt(quality: int) -> bool:
    """Whether a reading is one that the broker may have kept, so that it says nothing of how things are now."""
    return quality_class(quality) is Quality.UNCERTAIN and quality_reason(quality) is Reason.BACKLOG


def may_be_judged(value: float, quality: int) -> bool:
    """Whether a limit may judge by this value: a finite number of good quality.

    A reading that is uncertain only because the board's clock is not yet believed counts as good: the value is sound,
    and alarms have to run on a board that started without the time.
    """
    return _is_sound(quality) and math.isfinite(value)


def is_saturated(value: float, quality: int) -> bool:
    """Whether the signal stands just beyond its measuring range: the true value is at least as far out as this one."""
    return _is_beyond_range(quality) and math.isfinite(value)


# Readings are many, and their qualities are few.
@cache
def _is_sound(quality: int) -> bool:
    return quality_class(quality) is Quality.GOOD or (
        quality_class(quality) is Quality.UNCERTAIN and quality_reason(quality) is Reason.CLOCK
    )


@cache
def _is_beyond_range(quality: int) -> bool:
    return quality_reason(quality) is Reason.SATURATED
