"""The board's clock: when its time can be believed, and what to do until then. Pure: time comes in as arguments.

A small board without a battery clock starts somewhere in the past until it gets the time from the network. Believable
means: not before what was already committed under a believed clock. Two cases differ:

* At start the right time usually comes within moments. So readings wait in memory for two minutes; only then are they
  stored with estimated times.
* While running, a clock that is set back below what was committed is noticed by the monotonic clock, which goes on
  evenly. There is nothing to wait for: readings are stored with estimated times at once, and alarms run.

An estimated time goes on evenly from the last believed moment. When the clock comes right, one shift dates them all.

A clock may also be ahead, and everything stored by it would then lie in the future:

* One that jumps ahead while the process runs is doubted: times are estimated until the jump has stood for a minute. It
  is believed at once where the network begins to steer the clock with it, as on a board that starts in the past.
* If the clock is behind what was stored, and the network has steered it for a minute, then it is right, and what was
  stored is of a wrong future.
"""

from __future__ import annotations

__all__ = ["DOUBT_S", "WAIT_S", "BoardClock", "ClockState"]

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

WAIT_S: Final = 120.0
# For how long a jump ahead has to stand, and a clock that is behind has to be steered by the network, to be believed.
# Shorter than it takes until "clock" is alarmed.
DOUBT_S: Final = 60.0
# A jump ahead that is doubted. What is stored by a smaller one is soon past.
_JUMP_MS: Final = 30_000

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
    future_is_wrong: the clock is right, and known_ms lies in a future that was never there.
    """

    known_ms: int
    known_mono: float
    verdict: ClockState = ClockState.RIGHT
    future_is_wrong: bool = False
    _waits_until: float | None = None
    _committed: bool = False
    _ahead_since: float | None = None
    _steered_since: float | None = None
    _steered: bool | None = None

    @classmethod
    def at_start(cls, known_ms: int, wall_ms: int, mono: float) -> BoardClock:
        """The clock as a process finds it when it starts."""
        clock = cls(known_ms, mono)
        if wall_ms < known_ms - _TOLERANCE_MS:
            clock.verdict = ClockState.WAITING
            clock._waits_until = mono + WAIT_S
        return clock

    def look(self, wall_ms: int, mono: float, steered: bool | None = None) -> ClockState:
        """Look at the wall clock (UTC ms) and the monotonic one (seconds); call it at the top of each turn.

        steered: whether the network steers the wall clock, None where that is unknown.
        """
        begins = bool(steered) and self._steered is False
        self._steered = steered
        if wall_ms >= self.known_ms - _TOLERANCE_MS:
            self._steered_since = None
            self._waits_until = None
            self.verdict = ClockState.UNKNOWN if self._is_jump(wall_ms, mono, begins) else ClockState.RIGHT
            return self.verdict
        self._ahead_since = None
        self._steered_since = None if not steered else mono if self._steered_since is None else self._steered_since
        self.future_is_wrong = self._steered_since is not None and mono - self._steered_since >= DOUBT_S
        if self._waits_until is not None and mono < self._waits_until:
            self.verdict = ClockState.WAITING
        else:
            self.verdict = ClockState.UNKNOWN
            self._waits_until = None
        return self.verdict

    def _is_jump(self, wall_ms: int, mono: float, begins: bool) -> bool:
        """Whether the clock has jumped ahead so lately that it may jump back. begins: of the network to steer it."""
        if not self._committed or wall_ms - self.estimate(mono) <= _JUMP_MS:
            self._ahead_since = None
            return False
        if begins:
            self._ahead_since = mono - DOUBT_S
        elif self._ahead_since is None:
            self._ahead_since = mono
        return mono - self._ahead_since < DOUBT_S

    def committed(self, wall_ms: int, mono: float) -> None:
        """Something was committed, or is to be, under a believed clock."""
        if wall_ms >= self.known_ms:
            self.known_ms, self.known_mono = wall_ms, mono
            self._committed, self._ahead_since = True, None

    def estimate(self, mono: float) -> int:
        """The estimated UTC ms of a monotonic moment (seconds): evenly on from the last believed one."""
        return self.known_ms + round((mono - self.known_mono) * 1000)
