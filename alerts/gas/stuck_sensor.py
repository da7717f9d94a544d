"""A pressure that does not move where it would have to."""

from __future__ import annotations

__all__ = ["StuckRun", "StuckSensor", "held_by_supply"]

from typing import Final, NamedTuple

import numpy as np

from alerts.gas.blanket_columns import T0_K
from alerts.gas.wine_tables import Floats

_HOUR_MS: Final = 3_600_000
_LEAST_MS: Final = 3 * _HOUR_MS
# By so much, and so many steps of the instrument, it would have had to move.
_LEAST_KPA: Final = 0.8
_LEAST_STEPS: Final = 2.5
# A vessel that is open reads 0 for as long as it is.
_OPEN_KPA: Final = 0.5
# An instrument whose last digit usually moves, and has not for so long.
_SILENT_MS: Final = 12 * _HOUR_MS
_LIVELY: Final = 0.3
# A gauge is held by a supply if it stays where it is for so long; if it does so very exactly, for less.
_HELD_DAYS: Final = 0.7
_HELD_LEAST_DAYS: Final = 0.25


class StuckRun(NamedTuple):
    """An instrument that is stuck. since_ms: UTC ms; kpa: what it shows; expected_kpa: how far it would have moved."""

    since_ms: int
    kpa: float
    expected_kpa: float


class StuckSensor:
    """Minutes with exactly the same pressure, and what the amount of gas would have had to do meanwhile."""

    def __init__(self) -> None:
        self._since_ms = 0
        self._last_ms = 0
        self._kpa: float | None = None
        self._low = self._high = 0.0
        self._least_step = 0.0
        self._minutes = 0
        self._moves = 0

    def add(self, at_ms: int, kpa: float, level_kpa: float) -> StuckRun | None:
        """Take a minute: pressure as read, and the level that stays as it is without a leak. Give a run that ended."""
        self._minutes += 1
        if kpa == self._kpa:
            self._last_ms = at_ms
            self._low, self._high = min(self._low, level_kpa), max(self._high, level_kpa)
            return None
        ended = self.run
        if self._kpa is not None:
            step = abs(kpa - self._kpa)
            self._least_step = min(self._least_step, step) if self._least_step else step
            self._moves += 1
        self._since_ms = self._last_ms = at_ms
        self._kpa, self._low, self._high = kpa, level_kpa, level_kpa
        return ended

    @property
    def run(self) -> StuckRun | None:
        """The run of equal values that cannot be, if there is one now."""
        if self._kpa is None or abs(self._kpa) < _OPEN_KPA:
            return None
        lasts_ms, moved = self._last_ms - self._since_ms, self._high - self._low
        is_lively = self._minutes > 60 and self._moves > _LIVELY * (self._minutes - lasts_ms / 60_000)
        must_move = moved > max(_LEAST_KPA, _LEAST_STEPS * self._least_step)
        if (lasts_ms >= _LEAST_MS and must_move) or (lasts_ms >= _SILENT_MS and is_lively):
            return StuckRun(self._since_ms, self._kpa, moved)
        return None


def held_by_supply(days: Floats, gauge_kpa: Floats, reduced_kpa: Floats, celsius: Floats, vapour_kpa: Floats) -> bool:
    """Whether the gauge stays where it is over the last day, although warmth moves: gas is let in and out.

    A closed vessel's pressure follows at least the gas law and the vapour, whatever its headspace. In less time a leak
    might make up for warmth, but hardly as exactly as a regulator does.
    """
    young = days > days[-1] - 1.0
    span = days[-1] - days[young][0]
    if np.count_nonzero(young) < 12 or span < _HELD_LEAST_DAYS:
        return False
    closed = reduced_kpa[young].mean() / T0_K * celsius[young] + vapour_kpa[young]
    expected = float(np.std(closed))
    least, share = (0.5, 0.3) if span >= _HELD_DAYS else (0.25, 0.1)
    return expected > least and float(np.std(gauge_kpa[young])) < share * expected
