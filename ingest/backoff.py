"""Backoff: growing, jittered waits before a broker or a line is tried again."""

from __future__ import annotations

__all__ = ["GOES_ON", "Backoff"]

import random
from collections.abc import Callable

# Each wait is a random share of its nominal length between these two, so that the clients of a broker that is back do
# not all connect at once. Common practice, no source.
_SHORTEST_SHARE = 0.75
_LONGEST_SHARE = 1.25

# The end of a problem's text when a source tries again by itself.
GOES_ON = "leeside goes on trying."


class Backoff:
    """Waits in seconds that double from ``first_s`` to ``longest_s``, without end.

    draw: returns a random number in [0, 1); an argument so that tests can fix the jitter.
    """

    def __init__(
        self, first_s: float = 1.0, longest_s: float = 60.0, *, draw: Callable[[], float] = random.random
    ) -> None:
        if not 0 < first_s <= longest_s:
            raise ValueError(f"waits from {first_s} s to {longest_s} s; needed: 0 < first <= longest")
        self._first_s = first_s
        self._longest_s = longest_s
        self._nominal_s = first_s
        self._draw = draw

    def next_wait_s(self) -> float:
        """Return the seconds to wait now, at most ``longest_s``; the next wait is nominally twice as long."""
        share = _SHORTEST_SHARE + (_LONGEST_SHARE - _SHORTEST_SHARE) * self._draw()
        wait_s = min(self._nominal_s * share, self._longest_s)
        self._nominal_s = min(self._nominal_s * 2, self._longest_s)
        return wait_s

    def reset(self) -> None:
        """Start again with the shortest wait, because things went well for a while."""
        self._nominal_s = self._first_s
