"""What is believed of free SO2, carried from step to step: a bank of Kalman filters, one for each way of losing SO2.

Between two entries free SO2 F falls by

    dF/dt = -(c + k F)          k = (1 - a) r / 30 mg/L,  c = a r          [mg/L per 30 days, t in aged days]

r is the loss at 30 mg/L, a the part of it that does not depend on F: 0 is loss of first order, 1 a constant loss. An
addition D raises F by y D, and the yield y wanders a little from one addition to the next. Given r and a all of this is
linear, so F and y together are normal with a mean and a covariance (Kalman 1960). Nodes of r and a, with weights, stand
for what is not known of them.

A titration is either as good as it says or a blunder, such as a wrong factor. Each node keeps both cases apart for the
last two titrations and merges what lies further back into one normal of the same mean and covariance (a generalised
pseudo-Bayesian filter; Bar-Shalom, Li and Kirubarajan, Estimation with Applications to Tracking and Navigation, 2001,
chapter 11, from memory). So a titration that does not fit counts for little, and is judged again by the next one. Very
rarely it is good and the wine has changed, such as by an addition that nobody wrote down: two that agree win.

Arrays have the axes (history, node, case); the cases are the last titration but one and the last: good and good, good
and blunder, blunder and good, blunder and blunder.
"""

from __future__ import annotations

__all__ = ["So2Belief", "acted", "prior_belief", "titrated"]

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alerts.wine.dose import LITTLE_FREE_MG_L, YIELD_WITH_LITTLE
from alerts.wine.so2_steps import So2Steps

Floats = NDArray[np.float64]

# ---- what is believed before the first entry; all are this project's choices where no source is named ---------------

# Free SO2 of a wine of which nothing is known [mg/L].
_FREE: Final = 25.0
_U_FREE: Final = 18.0
# Two thirds of an addition stay free where some SO2 is free already (a rule of handbooks), half where little is.
_YIELD: Final = 2.0 / 3.0
_U_YIELD: Final = 0.10
# How far the yield wanders from one addition to the next.
_YIELD_DRIFT: Final = 0.045
# The loss: nodes of its logarithm in standard deviations of the prior, and of its constant part with their weights.
_LOSS_NODES: Final = np.linspace(-2.6, 2.6, 21)
_CONSTANT_PARTS: Final = np.array([0.0, 0.5, 1.0])
_CONSTANT_WEIGHTS: Final = np.array([0.5, 0.3, 0.2])
_AT_MG_L: Final = 30.0
# What the loss does that no rate explains, over 30 aged days: this much [mg/L], and this part of the loss.
_UNEXPLAINED_MG_L: Final = 0.05
_UNEXPLAINED_SHARE: Final = 0.02
# How much of what is known of the loss in one vessel goes with the wine into the next: the correlation of their logs.
_LOSS_OF_THE_WINE: Final = 0.5
# One titration in 25 is a blunder, off by this much [mg/L] and this part of the value, in whatever direction.
_BLUNDERS: Final = 0.04
_BLUNDER_MG_L: Final = 6.0
_BLUNDER_SHARE: Final = 0.4
# Before one titration in 300 something happened to the wine that nobody wrote down, of this size [mg/L].
_UNWRITTEN: Final = 0.003
_UNWRITTEN_MG_L: Final = 12.0
# Part of what is going to bind that is still free right after an addition: some binds within minutes.
_STILL_FREE: Final = 0.3
_U_STILL_FREE: Final = 0.3

_CASES: Final = 4
# Guards against dividing by a weight of 0, and against a variance that rounding makes negative.
_LEAST_WEIGHT: Final = 1e-200
_LEAST_VAR: Final = 1e-9
_LOSS: Final = np.repeat(_LOSS_NODES, len(_CONSTANT_PARTS))
_CONSTANT: Final = np.tile(_CONSTANT_PARTS, len(_LOSS_NODES))


@dataclass(frozen=True, slots=True)
class So2Belief:
    """What is believed at a moment; every array has the axes (history, node, case) or can be broadcast to them.

    weight: of sum 1 in each history; free, yielded: mean of free SO2 [mg/L] and of the yield; var_free, cov, var_yield:
    their covariance; loss: r [mg/L per 30 aged days]; constant: a; unbound: of the additions of the last days, what
    would still bind if all of it bound [mg/L].
    """

    weight: Floats
    free: Floats
    yielded: Floats
    var_free: Floats
    cov: Floats
    var_yield: Floats
    loss: Floats
    constant: Floats
    unbound: Floats

    @property
    def present_free(self) -> tuple[Floats, Floats]:
        """Mean and variance of what is free now [mg/L]: what stays free, and what has yet to bind."""
        mean = self.free + _STILL_FREE * (1.0 - self.yielded) * self.unbound
        by_yield = -_STILL_FREE * self.unbound
        unsure = (_U_STILL_FREE * (1.0 - self.yielded) * self.unbound) ** 2
        return mean, self.var_free + 2.0 * by_yield * self.cov + by_yield**2 * self.var_yield + unsure

    @property
    def expected(self) -> tuple[Floats, Floats]:
        """Mean and standard deviation of what is free now [mg/L], one for each history."""
        weight = self.weight
        free, var = self.present_free
        mean = (weight * free).sum(axis=(1, 2))
        return mean, np.sqrt((weight * (var + (free - mean[:, None, None]) ** 2)).sum(axis=(1, 2)))

    @property
    def blunder_chances(self) -> tuple[Floats, Floats]:
        """The probability that the last titration but one, and that the last, is a blunder; one for each history."""
        by_case = self.weight.sum(axis=1)
        return by_case[:, 2] + by_case[:, 3], by_case[:, 1] + by_case[:, 3]

    def aged(self, aged_days: Floats) -> So2Belief:
        """Let time pass; aged_days can be broadcast to the axes.

        Free SO2 does not fall below 0: a constant loss ends there.
        """
        per_day = (1.0 - self.constant) * self.loss / _AT_MG_L / 30.0 * aged_days
        decay = np.exp(-per_day)
        # (1 - exp(-x)) / x, which is 1 where all of the loss is constant.
        mean_decay = np.where(per_day > 1e-9, -np.expm1(-per_day) / np.maximum(per_day, 1e-9), 1.0)
        free = self.free * decay - self.constant * self.loss / 30.0 * aged_days * mean_decay
        unexplained = (_UNEXPLAINED_MG_L**2 + (_UNEXPLAINED_SHARE * self.loss) ** 2) / 30.0 * aged_days
        return replace(
            self,
            free=np.maximum(free, 0.0),
            var_free=self.var_free * decay**2 + unexplained,
            cov=self.cov * decay,
        )

    def likely(self, history: int, negligible: float) -> So2Belief:
        """Take one history, and of it only what has weight: nodes and cases in one axis, of shape (1, n, 1).

        negligible: what is left out weighs less than this together.
        """
        weight = self.weight[history].ravel()
        rising = np.sort(weight)
        least = rising[int(np.searchsorted(np.cumsum(rising), negligible))]
        # Nodes of the same weight stay or go together, whatever rounding does to them.
        kept = np.flatnonzero(weight >= least * (1.0 - 1e-9))
        shape = self.weight.shape[1:]

        def of(part: Floats) -> Floats:
            whole = part[history] if part.shape[0] > 1 else part[0]
            return np.broadcast_to(whole, shape).ravel()[kept].reshape(1, -1, 1)

        likely = So2Belief(*(of(getattr(self, name)) for name in So2Belief.__slots__))
        return replace(likely, weight=likely.weight / likely.weight.sum())


def prior_belief(steps: So2Steps) -> So2Belief:
    """Give what is believed before the first step."""
    histories = steps.log_loss.shape[0]
    shape = (histories, len(_LOSS), _CASES)
    weight = np.zeros(shape)
    weight[:, :, 0] = np.exp(-0.5 * _LOSS**2) * np.tile(_CONSTANT_WEIGHTS, len(_LOSS_NODES))
    return So2Belief(
        weight=weight / weight.sum(axis=(1, 2), keepdims=True),
        free=np.full(shape, _FREE),
        yielded=np.full(shape, _YIELD),
        var_free=np.full(shape, _U_FREE**2),
        cov=np.zeros(shape),
        var_yield=np.full(shape, _U_YIELD**2),
        loss=_loss(steps, 0),
        constant=_CONSTANT[None, :, None],
        unbound=np.zeros((histories, 1, 1)),
    )


def _loss(steps: So2Steps, step: int) -> Floats:
    """Loss of each node [mg/L per 30 aged days], by the vessel of a step."""
    return np.exp(steps.log_loss[:, step, None] + steps.spread[:, step, None] * _LOSS)[:, :, None]


def acted(belief: So2Belief, steps: So2Steps, step: int) -> So2Belief:
    """Carry a belief over the time of a step, and over what was done to the wine then."""

    def of(column: Floats) -> Floats:
        return column[:, step, None, None]

    belief = belief.aged(of(steps.aged_days))
    if steps.moved[:, step].any():
        belief = _moved(belief, steps, step)
    keep = 1.0 - of(steps.share)
    free = np.maximum(keep * belief.free + of(steps.share) * of(steps.mixed_mg_l) - of(steps.lost_mg_l), 0.0)
    var_free = keep**2 * belief.var_free + of(steps.share) ** 2 * of(steps.mixed_var) + of(steps.lost_var)
    belief = replace(belief, free=free, var_free=var_free, cov=keep * belief.cov, unbound=of(steps.unbound_mg_l))
    if steps.added_mg_l[:, step].any():
        belief = _added(belief, of(steps.added_mg_l), of(steps.added_var_share))
    return belief


def titrated(belief: So2Belief, steps: So2Steps, step: int) -> So2Belief:
    """Learn from the titrations of a step; the belief is the one after ``acted``."""
    known = np.flatnonzero(~np.isnan(steps.titrated_mg_l[:, step]))
    if not len(known):
        return belief
    value, var = steps.titrated_mg_l[known, step, None, None], steps.titrated_var[known, step, None, None]
    return _with(belief, known, _learned(_only(belief, known), value, var))


def _added(belief: So2Belief, added: Floats, var_share: Floats) -> So2Belief:
    little = np.clip(1.0 - belief.free / LITTLE_FREE_MG_L, 0.0, 1.0)
    raised = added * (1.0 - (1.0 - YIELD_WITH_LITTLE) * little)
    var_yield = belief.var_yield + np.where(added > 0.0, _YIELD_DRIFT**2, 0.0)
    unsure = (raised * belief.yielded) ** 2 * var_share
    return replace(
        belief,
        free=belief.free + raised * belief.yielded,
        var_free=belief.var_free + 2.0 * raised * belief.cov + raised**2 * var_yield + unsure,
        cov=belief.cov + raised * var_yield,
        var_yield=var_yield,
    )


def _learned(belief: So2Belief, value: Floats, var: Floats) -> So2Belief:
    """Learn from a titration in each history, its value and variance of shape (history, 1, 1)."""
    mean, var_mean = belief.present_free
    by_yield = -_STILL_FREE * belief.unbound
    # Covariances of what is titrated with what stays free and with the yield.
    with_free, with_yield = belief.var_free + by_yield * belief.cov, belief.cov + by_yield * belief.var_yield
    off, var = value - mean, var_mean + var
    with np.errstate(divide="ignore"):
        log_weight = np.log(belief.weight)
    changed = _UNWRITTEN_MG_L**2
    blunder_var = (_BLUNDER_MG_L + _BLUNDER_SHARE * mean) ** 2
    branches = []
    # Good; good after something unwritten, which makes what stays free less certain; a blunder.
    for share, more_free, whole in (
        (1.0 - _BLUNDERS - _UNWRITTEN, 0.0, var),
        (_UNWRITTEN, changed, var + changed),
        (_BLUNDERS, 0.0, var + blunder_var),
    ):
        gain_free, gain_yield = (with_free + more_free) / whole, with_yield / whole
        after = replace(
            belief,
            weight=log_weight + (np.log(share) - 0.5 * (np.log(whole) + off * off / whole)),
            free=np.maximum(belief.free + gain_free * off, 0.0),
            yielded=np.clip(belief.yielded + gain_yield * off, 0.0, 1.0),
            var_free=belief.var_free + more_free - gain_free * (with_free + more_free),
            cov=belief.cov - gain_free * with_yield,
            var_yield=belief.var_yield - gain_yield * with_yield,
        )
        branches.append(after)
    top = np.max([after.weight.max(axis=(1, 2), keepdims=True) for after in branches], axis=0)
    good, unwritten, blunder = (
        # The cases are last but one and last; now the last becomes the last but one, and what was before is merged.
        [moment[:, :, :2] + moment[:, :, 2:] for moment in _moments(replace(after, weight=np.exp(after.weight - top)))]
        for after in branches
    )
    # Axes: history, node, last but one, last; what changed unwritten is merged with good.
    moments = [
        np.stack([first + second, third], axis=-1).reshape(belief.weight.shape)
        for first, second, third in zip(good, unwritten, blunder, strict=True)
    ]
    whole_weight = moments[0].sum(axis=(1, 2), keepdims=True)
    return _of_moments([moment / whole_weight for moment in moments], belief)


def _moments(belief: So2Belief) -> tuple[Floats, ...]:
    """Give weight, and weighted first and second moments: those of a mixture are the sums of those of its parts."""
    weight, free, yielded = belief.weight, belief.free, belief.yielded
    return (
        weight,
        weight * free,
        weight * yielded,
        weight * (belief.var_free + free**2),
        weight * (belief.cov + free * yielded),
        weight * (belief.var_yield + yielded**2),
    )


def _of_moments(moments: Sequence[Floats], belief: So2Belief) -> So2Belief:
    """Give the normals that have these moments; what they do not concern is taken from a belief."""
    weight = moments[0]
    # Where nothing has any weight the values do not matter, as long as they are finite.
    free, yielded, free_free, free_yield, yield_yield = (
        moment / np.maximum(weight, _LEAST_WEIGHT) for moment in moments[1:]
    )
    return replace(
        belief,
        weight=weight,
        free=free,
        yielded=yielded,
        var_free=np.maximum(free_free - free**2, _LEAST_VAR),
        cov=free_yield - free * yielded,
        var_yield=np.maximum(yield_yield - yielded**2, _LEAST_VAR),
    )


# How the nodes of one vessel's loss go over into those of the next (rows: before, columns: after).
_TRANSITION: Final = np.exp(
    -0.5 * (_LOSS_NODES[None, :] - _LOSS_OF_THE_WINE * _LOSS_NODES[:, None]) ** 2 / (1.0 - _LOSS_OF_THE_WINE**2)
)
_TRANSITION_SHARES: Final = _TRANSITION / _TRANSITION.sum(axis=1, keepdims=True)


def _moved(belief: So2Belief, steps: So2Steps, step: int) -> So2Belief:
    """Take the wine into another vessel: each node's loss becomes a mixture of all, and its own is the new vessel's."""
    which = np.flatnonzero(steps.moved[:, step])
    before = _only(belief, which)
    shape = before.weight.shape
    by_loss = (len(_LOSS_NODES), len(_CONSTANT_PARTS) * _CASES)
    moments = [
        (_TRANSITION_SHARES.T @ moment.reshape(shape[0], *by_loss)).reshape(shape) for moment in _moments(before)
    ]
    after = replace(_of_moments(moments, before), loss=_loss(steps, step)[which])
    return _with(belief, which, after)


# What can differ between histories; the rest is the same for all.
_BY_HISTORY: Final = ("weight", "free", "yielded", "var_free", "cov", "var_yield", "loss", "unbound")


def _only(belief: So2Belief, histories: NDArray[np.intp]) -> So2Belief:
    """Take some of the histories."""
    return replace(belief, **{name: getattr(belief, name)[histories] for name in _BY_HISTORY})


def _with(belief: So2Belief, histories: NDArray[np.intp], after: So2Belief) -> So2Belief:
    """Put some of the histories back."""
    if len(histories) == len(belief.weight):
        return after
    changed = {}
    for name in _BY_HISTORY:
        changed[name] = getattr(belief, name).copy()
        changed[name][histories] = getattr(after, name)
    return replace(belief, **changed)
