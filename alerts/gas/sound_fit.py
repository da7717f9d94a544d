"""Explaining the readings of a blanket without a leak, and what one more column would make better.

For every way in which the wine may dissolve gas: the columns of ``blanket_columns``, those of the jumps, and what is
known beforehand of their amounts.
"""

from __future__ import annotations

__all__ = [
    "ALPHA",
    "DELTA",
    "TAU",
    "BlanketPrior",
    "Jump",
    "S",
    "SoundFit",
    "W",
    "Z",
    "extra_column",
    "held_by_tau",
    "sound_fit",
]

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from alerts.gas.answering_wine import with_off_wall
from alerts.gas.blanket_columns import RT0, TAUS_D, BlanketColumns
from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.wine_tables import Floats

# Order of the parameters.
ALPHA, W, DELTA, S, Z, TAU = range(6)

# Below it nothing but the step itself changes.
_SMALL_CHANGE: Final = 0.03


class Jump(NamedTuple):
    """A sudden change between two segments.

    segment: of the bins after it; kpa: its size at T0; share: the reduced pressure after it over that before; w: what
    1/V20 was taken to be before it; drawn_l: wine that was drawn by what a person wrote down, None where nobody did.
    """

    segment: int
    at_ms: int
    kpa: float
    share: float
    w: float
    drawn_l: float | None = None


class BlanketPrior(NamedTuple):
    """What is known before the first bin.

    mean, precision: of (w, delta, s, z, tau) by hypothesis of settling: (hypotheses, 5), (hypotheses, 5, 5); tau is w
    times the logarithm of how much longer the time constant of dissolving is than the hypothesis says; content: mean
    content of the wine at the start by hypothesis, mol/L; penalty: chi squared of each hypothesis so far.
    """

    mean: Floats
    precision: Floats
    content: Floats
    penalty: Floats


class SoundFit(NamedTuple):
    """The fits without a leak, as in ``BlanketFit``; changes: the parameters that are changes of 1/V; apart:
    what of the pressure they do not explain because it is put in at 1/V as believed [kPa].
    """

    held: Floats
    design: Floats
    mean: Floats
    precision: Floats
    changes: list[int]
    explained: Floats
    weighed: Floats
    cov: Floats
    theta: Floats
    chi: Floats
    apart: Floats

    def left(self, inverse: Floats) -> Floats:
        """What they leave of each bin, weighed by the inverse of the noise: (hypotheses, bins)."""
        return np.asarray(self.weighed - (self.design @ self.theta[:, :, None])[:, :, 0] @ inverse)


def sound_fit(
    columns: BlanketColumns,
    prior: BlanketPrior,
    jumps: Sequence[Jump],
    facts: BlanketFacts,
    inverse: Floats,
    answers: Floats | None,
    w: float,
) -> SoundFit:
    """Fit without a leak. inverse: of the covariance of the noise; answers: of the wine, at 1/V = w, where it sets the
    pressure.
    """
    held = columns.uptake - prior.content[:, None] * columns.filling
    design = _design(columns, held)
    design, mean, precision, changes = _with_jumps(design, columns, prior, jumps, facts)
    explained = columns.reduced
    # Where the wine sets the pressure, all is put in terms of the pressure that it sets.
    if answers is not None:
        design, mean, precision = with_off_wall(design, mean, precision, columns, facts, w)
        zero = design[:, :, Z].copy()
        design = answers @ design
        # The zero is of the instrument, and no gas.
        design[:, :, Z] = zero
        explained = columns.reduced - w * (answers @ columns.uptake[:, :, None])[:, :, 0]
    weighed = (inverse @ explained[..., None])[..., 0]
    a, c = _normal(design, inverse, weighed, mean, precision)
    cov = np.linalg.inv(a)
    theta = (cov @ c[:, :, None])[:, :, 0]
    fixed = np.sum(mean * (precision @ mean[:, :, None])[:, :, 0], axis=1)
    chi = _products(explained, weighed) + fixed - np.sum(c * theta, axis=1) + prior.penalty
    return SoundFit(
        held, design, mean, precision, changes, explained, weighed, cov, theta, chi, columns.reduced - explained
    )


def _design(columns: BlanketColumns, held: Floats) -> Floats:
    """(hypotheses, bins, parameters)."""
    design = np.empty((*held.shape, 6))
    design[:, :, ALPHA] = 1.0
    design[:, :, W] = -(columns.growth + held)
    design[:, :, DELTA] = columns.filling
    design[:, :, S] = columns.gas
    design[:, :, Z] = columns.zero
    design[:, :, TAU] = -held_by_tau(held)
    return design


def held_by_tau(held: Floats) -> Floats:
    """The derivative of what is held by the logarithm of the time constant, from the hypotheses beside each one."""
    by_tau = np.zeros_like(held)
    single = held[1 : 1 + len(TAUS_D)]
    by_tau[1 : 1 + len(TAUS_D)] = np.gradient(single, np.log(TAUS_D), axis=0)
    return by_tau


def _with_jumps(
    design: Floats, columns: BlanketColumns, prior: BlanketPrior, jumps: Sequence[Jump], facts: BlanketFacts
) -> tuple[Floats, Floats, Floats, list[int]]:
    """Add columns for the jumps: the step; what drawn wine leaves as headspace; gas that went into the wine."""
    added: list[Floats] = []
    means: list[float] = []
    deviations: list[float] = []
    changes: list[int] = []
    for jump in jumps:
        after = columns.segment >= jump.segment
        if not after.any() or after.all():
            continue
        added.append(np.broadcast_to(after.astype(np.float64), design.shape[:2]))
        means.append(jump.kpa)
        deviations.append(5.0 + abs(jump.kpa))
        change = 1.0 - jump.share
        if abs(change) > _SMALL_CHANGE:
            # Either gas went, and the headspace is what it was, or wine, and it grew by as much as the pressure fell.
            changes.append(6 + len(added))
            added.append(design[:, :, W] * after)
            if jump.drawn_l is None:
                means.append(-0.5 * change * jump.w)
                deviations.append(0.3 * abs(change) * jump.w)
            else:
                means.append(1.0 / (1.0 / jump.w + jump.drawn_l) - jump.w)
                deviations.append(0.1 * abs(means[-1]))
        if jump.kpa < 0.0:
            first = int(np.argmax(after))
            added.append(np.where(after, design[:, :, DELTA] - design[:, first : first + 1, DELTA], 0.0))
            most = -jump.kpa / (RT0 * facts.filling.wine_l)
            means.append(0.3 * most)
            deviations.append(0.4 * most)
    count = len(means)
    mean = np.concatenate([prior.mean, np.broadcast_to(np.array(means), (len(design), count))], axis=1)
    precision = np.zeros((len(design), 5 + count, 5 + count))
    precision[:, :5, :5] = prior.precision
    spread = np.arange(5, 5 + count)
    precision[:, spread, spread] = np.array(deviations) ** -2.0
    if count:
        design = np.concatenate([design, np.stack(added, axis=2)], axis=2)
    return design, mean, precision, changes


def _products(explained: Floats, weighed: Floats) -> Floats:
    """Chi squared of what is explained by nothing: one for all hypotheses, or by hypothesis."""
    return np.asarray(explained @ weighed if explained.ndim == 1 else np.sum(explained * weighed, axis=1))


def _normal(design: Floats, inverse: Floats, weighed: Floats, mean: Floats, precision: Floats) -> tuple[Floats, Floats]:
    a = design.transpose(0, 2, 1) @ (inverse @ design)
    a[:, 1:, 1:] += precision
    # Hardly any: it keeps a constant column from being singular with others over a short time.
    a[:, ALPHA, ALPHA] += 1e-8
    c = (design.transpose(0, 2, 1) @ weighed[..., None])[..., 0]
    c[:, 1:] += (precision @ mean[:, :, None])[:, :, 0]
    return a, c


def extra_column(
    columns: Floats, design: Floats, inverse: Floats, left: Floats, cov: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Add one column at a time: what chi squared falls by, the column's amount, its uncertainty, and its products."""
    ahead = inverse @ columns
    b = design.transpose(0, 2, 1) @ ahead
    d = np.sum(columns * ahead, axis=-2)
    alone = np.maximum(d - np.sum(b * (cov @ b), axis=1), 1e-12 * np.maximum(d, 1e-6))
    r = left @ columns if columns.ndim == 2 else (left[:, None, :] @ columns)[:, 0, :]
    return r * r / alone, r / alone, alone**-0.5, b
