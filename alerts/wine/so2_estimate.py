"""The estimate of free and molecular SO2 at a moment, what it learned, and when the wine will be below its limit."""

from __future__ import annotations

__all__ = [
    "So2Asked",
    "So2Estimate",
    "So2Learned",
    "both_bands",
    "estimate",
    "estimate_all",
    "estimate_band",
    "molecular_band",
]

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alerts.wine.acidity import Acidity, FreeLimit
from alerts.wine.normal_mixture import NormalMixture, QuantileTable
from alerts.wine.so2_belief import So2Belief, acted, prior_belief, titrated
from alerts.wine.so2_below import DAYS_AHEAD, WhenBelow, when_below
from alerts.wine.so2_history import So2History
from alerts.wine.so2_remarks import Expected, remarks_on
from alerts.wine.so2_steps import aged_days_ahead, steps_of

Floats = NDArray[np.float64]

# Ends of an 80 % interval, and the median.
_ENDS: Final = (0.1, 0.5, 0.9)
# Nodes that together weigh less than this are left out of what is answered.
_NEGLIGIBLE: Final = 1e-3


@dataclass(frozen=True, slots=True)
class So2Asked:
    """What is asked of a history: the estimate at a moment [UTC ms].

    acidity: None where no pH is known, then nothing molecular is answered; molecular_limit_mg_l, free_limit_mg_l: the
    lower limits that the wine should stay above, None where there is none.
    """

    history: So2History
    at_ms: int
    acidity: Acidity | None = None
    molecular_limit_mg_l: float | None = None
    free_limit_mg_l: float | None = None


@dataclass(frozen=True, slots=True)
class So2Learned:
    """What the entries say about vessel and wine, with standard uncertainties; what is usual where they say nothing.

    loss_mg_l_per_30_days: what the wine would lose in the next 30 days; yielded: the part of an addition that stays
    free.
    """

    loss_mg_l_per_30_days: float
    u_loss_mg_l_per_30_days: float
    yielded: float
    u_yielded: float


@dataclass(frozen=True, slots=True)
class So2Estimate:
    """Free and molecular SO2 at a moment: median, standard uncertainty and ends of the 80 % interval [mg/L]."""

    at_ms: int
    free_mg_l: float
    u_free_mg_l: float
    free_low_80_mg_l: float
    free_high_80_mg_l: float
    molecular_mg_l: float | None
    molecular_low_80_mg_l: float | None
    molecular_high_80_mg_l: float | None
    below_limit: WhenBelow | None
    learned: So2Learned
    remarks: tuple[str, ...]


def estimate(asked: So2Asked) -> So2Estimate:
    """Estimate one wine's SO2. Raises OutOfRange for a time before its history begins."""
    return estimate_all([asked])[0]


def estimate_all(asked: Sequence[So2Asked]) -> list[So2Estimate]:
    """Estimate many wines' SO2 together, which is much faster than each alone."""
    histories = [each.history.until(each.at_ms) for each in asked]
    steps, _ = steps_of(histories, [[each.at_ms] for each in asked])
    belief = prior_belief(steps)
    expectations: list[list[Expected]] = [[] for _ in asked]
    for step in range(len(steps)):
        belief = acted(belief, steps, step)
        with_titration = np.flatnonzero(~np.isnan(steps.titrated_mg_l[:, step]))
        if len(with_titration):
            mean, sd = belief.expected
            for number in with_titration:
                expectations[number].append(Expected(float(mean[number]), float(sd[number])))
            belief = titrated(belief, steps, step)
    chances = np.stack(belief.blunder_chances, axis=-1)
    return [
        _answer(
            each,
            history,
            belief.likely(number, _NEGLIGIBLE),
            remarks_on(history, each.at_ms, expectations[number], (chances[number, 0], chances[number, 1])),
        )
        for number, (each, history) in enumerate(zip(asked, histories, strict=True))
    ]


def estimate_band(history: So2History, times_ms: Sequence[int]) -> list[tuple[float, float, float]]:
    """Give lower end, median and upper end of the 80 % interval of free SO2 [mg/L] at rising times [UTC ms].

    Each is answered from what had happened by then, as ``estimate`` would have at that time.
    """
    return [_ends(table) for table in _tables(history, times_ms)]


def molecular_band(
    history: So2History, times_ms: Sequence[int], acidities: Sequence[Acidity | None]
) -> list[tuple[float, float, float] | None]:
    """Give the same of molecular SO2 [mg/L]; acidities: at each time, and None gives None."""
    return [
        None if acidity is None else _ends(table.times(acidity.fractions()))
        for table, acidity in zip(_tables(history, times_ms), acidities, strict=True)
    ]


def both_bands(
    history: So2History, times_ms: Sequence[int], acidities: Sequence[Acidity | None]
) -> list[tuple[tuple[float, float, float], tuple[float, float, float] | None]]:
    """Give ``estimate_band`` and ``molecular_band`` together, for little more than the work of one."""
    return [
        (_ends(table), None if acidity is None else _ends(table.times(acidity.fractions())))
        for table, acidity in zip(_tables(history, times_ms), acidities, strict=True)
    ]


def _tables(history: So2History, times_ms: Sequence[int]) -> Iterator[QuantileTable]:
    """What is free at rising times, each by what had happened by then."""
    steps, places = steps_of([history], [times_ms])
    belief, asked_for = prior_belief(steps), set(places[0])
    for step in range(len(steps)):
        belief = titrated(acted(belief, steps, step), steps, step)
        if step in asked_for:
            yield _present(belief.likely(0, _NEGLIGIBLE)).table()


def _answer(asked: So2Asked, history: So2History, belief: So2Belief, remarks: tuple[str, ...]) -> So2Estimate:
    present = _present(belief)
    table = present.table()
    low, median, high = _ends(table)
    molecular: tuple[float, float, float] | tuple[None, None, None] = (None, None, None)
    if asked.acidity is not None:
        molecular = _ends(table.times(asked.acidity.fractions()))
    aged_days = aged_days_ahead(history, asked.at_ms, DAYS_AHEAD)
    return So2Estimate(
        at_ms=asked.at_ms,
        free_mg_l=median,
        u_free_mg_l=present.sd,
        free_low_80_mg_l=low,
        free_high_80_mg_l=high,
        molecular_low_80_mg_l=molecular[0],
        molecular_mg_l=molecular[1],
        molecular_high_80_mg_l=molecular[2],
        below_limit=when_below(belief, aged_days, _free_limits(asked), asked.at_ms),
        learned=_learned(belief, float(np.interp(30.0, DAYS_AHEAD, aged_days))),
        remarks=remarks,
    )


def _ends(table: QuantileTable) -> tuple[float, float, float]:
    """Lower end, median and upper end of the 80 % interval; what the normals have below 0 counts as 0."""
    low, median, high = (max(value, 0.0) for value in table.quantiles(_ENDS))
    return low, median, high


def _present(belief: So2Belief) -> NormalMixture:
    free, var = belief.present_free
    return NormalMixture(belief.weight.ravel(), free.ravel(), np.sqrt(var.ravel()))


def _learned(belief: So2Belief, aged_days: float) -> So2Learned:
    weight = belief.weight.ravel()
    loss = (belief.free - belief.aged(np.array(aged_days)).free).ravel()
    loss_mean, yield_mean = float(weight @ loss), float(weight @ belief.yielded.ravel())
    yield_var = belief.var_yield.ravel() + (belief.yielded.ravel() - yield_mean) ** 2
    return So2Learned(
        loss_mg_l_per_30_days=loss_mean,
        u_loss_mg_l_per_30_days=float(np.sqrt(weight @ (loss - loss_mean) ** 2)),
        yielded=min(yield_mean, 1.0),
        u_yielded=float(np.sqrt(weight @ yield_var)),
    )


def _free_limits(asked: So2Asked) -> list[FreeLimit]:
    """The free SO2 that the wine should stay above, by each pH that it may have; nothing where there is no limit."""
    least = asked.free_limit_mg_l
    if asked.molecular_limit_mg_l is None or asked.acidity is None:
        return [] if least is None else [FreeLimit(1.0, least, 0.0)]
    limits = asked.acidity.free_limits(asked.molecular_limit_mg_l)
    return [limit if least is None or limit.mg_l > least else FreeLimit(limit.weight, least, 0.0) for limit in limits]
