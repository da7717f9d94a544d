"""When a wine falls below its limit of SO2, as far as that can be foreseen."""

from __future__ import annotations

__all__ = ["DAYS_AHEAD", "WhenBelow", "when_below"]

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alerts.wine.acidity import FreeLimit
from alerts.wine.normal_mixture import normal_cdf
from alerts.wine.so2_belief import So2Belief
from alerts.wine.so2_steps import MS_PER_DAY

Floats = NDArray[np.float64]

_LOW, _MEDIAN, _HIGH = 0.1, 0.5, 0.9
# A titration is due by the day on which the wine is below its limit with this probability.
_CHANCE: Final = 0.05
# Days ahead at which the probability of being below is worked out, up to a year; between them it is interpolated.
DAYS_AHEAD: Final = np.concatenate([np.arange(0.0, 14.0), np.arange(14.0, 60.0, 4.0), np.linspace(60.0, 365.0, 31)])


@dataclass(frozen=True, slots=True)
class WhenBelow:
    """When the wine falls below its limit [UTC ms], if nothing is done: median, 80 % ends, and the day for a titration.

    None: not within a year. titrate_by_ms: when it is below with 5 % chance. A moment is never before the one that was
    asked for; that moment itself means that it may be below already.
    """

    median_ms: int | None
    low_ms: int | None
    high_ms: int | None
    titrate_by_ms: int | None


def when_below(belief: So2Belief, aged_days: Floats, limits: Sequence[FreeLimit], at_ms: int) -> WhenBelow | None:
    """Foresee when free SO2 is below its limit; None where there is none.

    belief: of one history at at_ms; aged_days: what the DAYS_AHEAD make up; limits: the limit, by weights of sum 1.
    """
    if not limits:
        return None
    ahead = belief.aged(aged_days[:, None, None])
    free, var = ahead.free[..., 0], ahead.var_free[..., 0]
    below = np.zeros(len(DAYS_AHEAD))
    for limit in limits:
        off = (limit.mg_l - free) / np.sqrt(var + limit.u_mg_l**2)
        below += limit.weight * (normal_cdf(off) @ belief.weight.ravel())
    # Wine that is not dosed only loses: uncertainty that grows with time must not take a probability back.
    chance = np.maximum.accumulate(below)

    def reached(probability: float) -> int | None:
        if chance[0] >= probability:
            return at_ms
        if chance[-1] < probability:
            return None
        place = int(np.searchsorted(chance, probability))
        part = (probability - chance[place - 1]) / (chance[place] - chance[place - 1])
        days = DAYS_AHEAD[place - 1] + part * (DAYS_AHEAD[place] - DAYS_AHEAD[place - 1])
        return at_ms + int(days * MS_PER_DAY)

    return WhenBelow(
        median_ms=reached(_MEDIAN), low_ms=reached(_LOW), high_ms=reached(_HIGH), titrate_by_ms=reached(_CHANCE)
    )
