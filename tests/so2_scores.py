"""How well answers on free SO2 agree with the truth of made-up winters."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
from so2_winters import HORIZON, LENGTH, MOLECULAR_LIMIT, Act, Answer, Asking, Winter

from alerts.wine.acidity import Acidity
from alerts.wine.so2_estimate import So2Asked, So2Estimate, estimate_all
from alerts.wine.so2_history import LOSS_BY_KIND, FreeTitrated, So2Added, So2Entry, So2History

DAY_MS = 86_400_000
# As many at a time, so that the arrays stay small.
_AT_A_TIME = 400


def by_estimate(winters: Sequence[Winter]) -> list[list[tuple[Asking, Answer]]]:
    """Answer what is asked of winters by leeside's estimate, which sees only what was written down."""
    everything = [So2AskedOf(winter).asked for winter in winters]
    flat = [each for of_winter in everything for each in of_winter]
    estimates: list[So2Estimate] = []
    for start in range(0, len(flat), _AT_A_TIME):
        estimates += estimate_all(flat[start : start + _AT_A_TIME])
    answers = iter(estimates)
    return [[(asking, _answer(next(answers))) for asking in winter.asked] for winter in winters]


@dataclass(frozen=True)
class So2AskedOf:
    """A winter as the estimate is asked for it."""

    winter: Winter

    @property
    def asked(self) -> list[So2Asked]:
        """What is asked of it, in order."""
        winter = self.winter
        temperatures = [(round(day * DAY_MS), float(celsius)) for day, celsius in enumerate(winter.temperatures)]
        history = So2History(
            0,
            LOSS_BY_KIND[winter.kind],
            tuple(self._entry(act) for act in winter.acts),
            tuple(temperatures[: round(LENGTH) + 5]) if len(winter.world.q10) > 1 else (),
        )
        acidity = Acidity(winter.ph_found, winter.world.ph_error)
        return [So2Asked(history, round(asking.day * DAY_MS), acidity, MOLECULAR_LIMIT) for asking in winter.asked]

    def _entry(self, act: Act) -> So2Entry:
        at_ms, world = round(act.day * DAY_MS), self.winter.world
        if act.found is not None:
            return FreeTitrated(at_ms, act.found, hypot(world.error_mg_l, world.error_share * act.found))
        return So2Added(at_ms, act.added or 0.0)


def _answer(found: So2Estimate) -> Answer:
    below = found.below_limit
    assert below is not None

    def days(at_ms: int | None) -> float:
        return HORIZON if at_ms is None else (at_ms - found.at_ms) / DAY_MS

    return Answer(
        (found.free_low_80_mg_l, found.free_mg_l, found.free_high_80_mg_l),
        (days(below.low_ms), days(below.median_ms), days(below.high_ms)),
        days(below.titrate_by_ms),
    )


@dataclass(frozen=True)
class Score:
    """What answers of one kind were worth.

    covered: share of the 80 % intervals of free SO2 with the truth inside; error, width: mean absolute error of the
    median and mean width [mg/L]; crossing_covered: of the crossing day, where both ends lie ahead and within a year;
    crossing_error: median error of the crossing day as a part of the days still to go; in_time: share of the titrations
    asked for before the crossing; wait: mean days to it.
    """

    what: str
    n: int
    covered: float
    error: float
    width: float
    crossing_covered: float
    crossing_error: float
    in_time: float
    wait: float


def scores(answers: Iterable[tuple[Asking, Answer]]) -> dict[str, Score]:
    """Score answers by what was asked, and all together."""
    kinds: dict[str, list[tuple[Asking, Answer]]] = defaultdict(list)
    for each in answers:
        kinds[each[0].what].append(each)
        kinds["all"].append(each)
    return {
        what: _score(what, pairs) for what, pairs in sorted(kinds.items(), key=lambda kind: (kind[0] == "all", kind))
    }


def _score(what: str, pairs: Sequence[tuple[Asking, Answer]]) -> Score:
    free = np.array([asking.free for asking, _ in pairs])
    to_go = np.array([asking.crossing for asking, _ in pairs])
    low, median, high = np.array([answer.free for _, answer in pairs]).T
    early, middle, late = np.array([answer.crossing for _, answer in pairs]).T
    titrate_in = np.array([answer.titrate_in for _, answer in pairs])
    open_ends = (early > 0.0) & (late < HORIZON)
    ahead = (to_go > 0.0) & (to_go < HORIZON)
    inside = (early <= to_go) & (to_go <= late)
    relative = np.abs(middle[ahead] - to_go[ahead]) / to_go[ahead]
    return Score(
        what,
        len(pairs),
        float(np.mean((low <= free) & (free <= high))),
        float(np.mean(np.abs(median - free))),
        float(np.mean(high - low)),
        float(np.mean(inside[open_ends])) if open_ends.any() else float("nan"),
        float(np.median(relative)) if ahead.any() else float("nan"),
        float(np.mean(titrate_in <= to_go)),
        float(np.mean(titrate_in[to_go > 0.0])) if (to_go > 0.0).any() else float("nan"),
    )
