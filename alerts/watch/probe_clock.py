"""A probe's own clock: which time a reading is judged by when that clock is ahead, or has gone back.

Limits judge by the readings' own times and pass over what is late, so that a backlog raises and ends nothing. A probe
whose clock is wrong must not make its current readings late. So, for each reading:

* An own time that lies ahead of the machine's clock, and also runs ahead of the probe's earlier times, is that of a
  wrong clock. The reading is judged by its arrival. One that is only ahead of the machine's clock is not: there, that
  clock has been set back.
* Own times that went back look like a backlog at first. A backlog comes faster than the clock goes, and between current
  readings. If nothing but late readings has come for longer than the probe's no-data time, and they came as evenly as
  time goes, the probe's clock was set back. From then on they are judged by their arrival.

The arrival in the probe's own time is the newest own time and what has passed since by the monotonic clock.
"""

from __future__ import annotations

__all__ = ["AHEAD_MS", "ProbeClock", "judged_times", "usual"]

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from alerts.watch.good_run import GoodRun
from alerts.watch.turn_inputs import Now, WatchReading, counts_as_data

# Clocks that are kept by the network differ by less.
AHEAD_MS: Final = 5000
# A run of late readings may be so much quicker or slower than the clock: commits come in bunches.
_UNEVEN: Final = 0.2


@dataclass(frozen=True, slots=True)
class ProbeClock:
    """How far a probe's readings have come.

    newest_ms: the newest time judged by; newest_mono: when that reading was seen, None when that was before a restart;
    late_ms, late_mono: the same of the first of a run of late readings, None where none runs.
    """

    newest_ms: int | None = None
    newest_mono: float | None = None
    late_ms: int | None = None
    late_mono: float | None = None


def usual(clock: ProbeClock, run: GoodRun, now: Now) -> ProbeClock | None:
    """Give the clock after readings that are neither late nor ahead, so that they are judged by their own times; None
    where ``judged_times`` has to decide.
    """
    if run.last_ms > now.utc_ms + AHEAD_MS or (clock.newest_ms is not None and run.first_ms < clock.newest_ms):
        return None
    return ProbeClock(run.last_ms, now.mono)


def judged_times(
    clock: ProbeClock, readings: Sequence[WatchReading], *, fresh_s: float, now: Now
) -> tuple[ProbeClock, list[WatchReading]]:
    """Give the readings, in the order in which they came, the times by which they are judged.

    fresh_s: the probe's no-data time in seconds.
    """
    newest, newest_mono, late, late_mono = clock.newest_ms, clock.newest_mono, clock.late_ms, clock.late_mono
    judged: list[WatchReading] = []
    bounds = _times_after(readings, newest, now)
    for reading, bound in zip(readings, bounds, strict=True):
        at = reading.at_ms
        if not counts_as_data(reading.quality):
            judged.append(reading)
            continue
        arrival = now.utc_ms
        if newest is not None:
            arrival = max(newest, arrival if newest_mono is None else newest + round((now.mono - newest_mono) * 1000))
        if at > now.utc_ms + AHEAD_MS and (newest is None or at > arrival + AHEAD_MS):
            at = arrival if bound is None else min(arrival, bound)
        elif newest is not None and at < newest:
            if late is None or late_mono is None:
                late, late_mono = at, now.mono
            elif _is_even(at - late, now.mono - late_mono, fresh_s):
                at = arrival
        if newest is None or at >= newest:
            newest, newest_mono = at, now.mono
            if at == reading.at_ms:
                late = late_mono = None
        judged.append(reading if at == reading.at_ms else reading._replace(at_ms=at))
    return ProbeClock(newest, newest_mono, late, late_mono), judged


def _times_after(readings: Sequence[WatchReading], newest: int | None, now: Now) -> list[int | None]:
    """Give for each reading the earliest own time after it that is neither late nor ahead, None where there is none.

    What came with one turn has one arrival by the monotonic clock; a reading that is ahead did not come after those.
    """
    bounds: list[int | None] = []
    bound: int | None = None
    for reading in reversed(readings):
        bounds.append(bound)
        at = reading.at_ms
        if counts_as_data(reading.quality) and at <= now.utc_ms + AHEAD_MS and (newest is None or at >= newest):
            bound = at if bound is None else min(bound, at)
    return bounds[::-1]


def _is_even(own_ms: int, passed_s: float, fresh_s: float) -> bool:
    """Whether a run of late readings has lasted long enough, and their own times went on as time did."""
    return passed_s > fresh_s and abs(own_ms - passed_s * 1000) <= _UNEVEN * passed_s * 1000
