"""What a reading says beside those before it: a jump that the thing measured cannot make, a probe that is stuck.

Pure, one small state for each series; numbers are what the wire said, in the probe's own unit.
"""

from __future__ import annotations

__all__ = ["JumpWatch", "Steadiness", "StuckWatch"]

from dataclasses import dataclass
from math import log
from typing import Final

from ingest.reading import Quality, Reason, quality_code

_JUMP: Final = quality_code(Quality.UNCERTAIN, Reason.JUMP)
_STUCK: Final = quality_code(Quality.UNCERTAIN, Reason.STUCK)
_GOOD: Final = quality_code(Quality.GOOD)

# After a break this long nobody can say what is a jump; the next reading is taken as it is.
_BREAK_MS: Final = 10 * 60 * 1000
_MINUTE_MS: Final = 60_000

# A run of equal readings is called stuck when by the probe's own habits it would come once in a thousand million.
_LOG_CHANCE: Final = log(1e-9)
# Habits are those of the last thousand readings or so; below two hundred there are none yet.
_MEMORY: Final = 0.999
_ENOUGH: Final = 200.0
# A probe that hardly ever changes (a steady cellar, a coarse converter) cannot be distinguished from one that is stuck.
_LIVELY: Final = 0.05
_SHORTEST_RUN: Final = 60
_SHORTEST_MS: Final = 10 * 60 * 1000


@dataclass(slots=True)
class JumpWatch:
    """step: the change within a minute that is still possible, in the probe's unit; over a longer break in proportion.

    A reading beyond it is doubted once. The next one settles it: near the doubted one, both were right (the probe was
    moved, the vessel was refilled); near the old one, it was a slip.
    """

    step: float
    at_ms: int | None = None
    number: float = 0.0
    doubted: float | None = None

    def is_jump(self, at_ms: int, number: float) -> bool:
        """Take the next reading of the series, in order of time."""
        if self.at_ms is not None and 0 <= at_ms - self.at_ms < _BREAK_MS:
            allowed = self.step * max(1.0, (at_ms - self.at_ms) / _MINUTE_MS)
            confirmed = self.doubted is not None and abs(number - self.doubted) <= allowed
            if abs(number - self.number) > allowed and not confirmed:
                self.doubted = number
                return True
        self.at_ms, self.number, self.doubted = at_ms, number, None
        return False


@dataclass(slots=True)
class StuckWatch:
    """Learns how often a probe's number changes from reading to reading, and doubts a run that is far too long.

    The habit that a run is judged by is the one from before the run, so a probe cannot get used to being stuck.
    """

    number: float | None = None
    run: int = 0
    run_began_ms: int = 0
    readings: float = 0.0
    changes: float = 0.0
    longest: float = float("inf")

    def is_stuck(self, at_ms: int, number: float) -> bool:
        """Take the next reading of the series, in order of time."""
        self.readings = self.readings * _MEMORY + 1.0
        self.changes *= _MEMORY
        if number != self.number:
            if self.number is not None:
                self.changes += 1.0
            self.number, self.run, self.run_began_ms = number, 0, at_ms
            lively = self.readings >= _ENOUGH and self.changes >= _LIVELY * self.readings
            share = min(self.changes / self.readings, 0.999)
            self.longest = max(_SHORTEST_RUN, _LOG_CHANCE / log(1.0 - share)) if lively else float("inf")
            return False
        self.run += 1
        return self.run > self.longest and at_ms - self.run_began_ms >= _SHORTEST_MS


class Steadiness:
    """Both watches over all series. steps: series -> the step of its jump watch, None where any change is possible."""

    def __init__(self, steps: dict[int, float | None]) -> None:
        self._jumps = {series: JumpWatch(step) for series, step in steps.items() if step is not None}
        self._stuck = {series: StuckWatch() for series in steps}

    def judged(self, row: tuple[int, int, float, int]) -> tuple[int, int, float, int]:
        """The row (series, at_ms, number, quality) with its quality as seen beside the series' past.

        Only good readings are doubted, and only those are learned from.
        """
        series, at_ms, number, quality = row
        if quality != _GOOD:
            return row
        jumps = self._jumps.get(series)
        if jumps is not None and jumps.is_jump(at_ms, number):
            return (series, at_ms, number, _JUMP)
        stuck = self._stuck.get(series)
        if stuck is not None and stuck.is_stuck(at_ms, number):
            return (series, at_ms, number, _STUCK)
        return row
