"""The board's clock: when its time can be believed, and what to do until then. Pure: time comes in as arguments.

A small board without a battery clock starts somewhere in the past until it gets the time from the network. Believable
means: not before what was already committed under a believed clock. Two cases differ:

* At start the right time usually comes within moments. So readings wait in memory for two minutes; only then are they
  stored with estimated times.
* While running, a clock that is set back below what was committed is noticed by the monotonic clock, which goes on
  evenly. There is nothing to wait for: readings are stored with estimated times at once, and alarms run.

An estimated time goes on evenly from the last believed moment. When the clock comes right, one shift dates them all.
"""

from __future__ import annotations

__all__ = ["WAIT_S", "BoardClock", "ClockState"]

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

WAIT_S: Final = 120.0

# The clock of a board that is kept right by the network still moves by fractions of a second.
_TOLERANCE_MS: Final = 1000


class ClockState(StrEnum):
    """right: stamp with the wall clock; waiting: keep readings in memory; unknown: stamp with ``estimate``."""

    RIGHT = "right"
    WAITING = "waiting"
    UNKNOWN = "unknown"


@dataclass(slots=True)
class BoardClock:
    """Judges the wall clock.

    known_ms: the newest moment that was committed under a believed clock, UTC ms, 0 if none is known;
    known_mono: monotonic seconds at that moment, or at the start of the process where that was in another life.
    """

    known_ms: int
    known_mono: float
    verdict: ClockState = ClockState.RIGHT
    _waits_until: float | None = None

    @classmethod
    def at_start(cls, known_ms: int, wall_ms: int, mono: float) -> BoardClock:
        """The clock as a process finds it when it starts."""
        clock = cls(known_ms, mono)
        if wall_ms < known_ms - _TOLERANCE_MS:
            clock.verdict = ClockState.WAITING
            clock._waits_until = mono + WAIT_S
        return clock

    def look(self, wall_ms: int, mono: float) -> ClockState:
        """Look at the wall clock (UTC ms) and the monotonic one (seconds); call it at the top of each turn."""
        if wall_ms >= self.known_ms - _TOLERANCE_MS:
            self.verdict = ClockState.RIGHT
            self._waits_until = None
        elif self._waits_until is not None and mono < self._waits_until:
            self.verdict = ClockState.WAITING
        else:
            self.verdict = ClockState.UNKNOWN
            self._waits_until = None
        return self.verdict

    def committed(self, wall_ms: int, mono: float) -> None:
        """Something was committed, or is to be, under a believed clock."""
        if wall_ms >= self.known_ms:
            self.known_ms, self.known_mono = wall_ms, mono

    def estimate(self, mono: float) -> int:
        """The estimated UTC ms of a monotonic moment (seconds): evenly on from the last believed one."""
        return self.known_ms + round((mono - self.known_mono) * 1000)

    def shift(self, wall_ms: int, mono: float) -> int:
        """By how many ms estimated times are to be moved, now that wall_ms is believed."""
        return wall_ms - self.estimate(mono)
