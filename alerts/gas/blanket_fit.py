"""Explaining the readings of a blanket with and without a leak, and how much better the one is than the other.

Generalised least squares with Gaussian priors: for every way in which the wine may dissolve gas, without a leak, with
one that began at each of several times, and with one sudden step instead. The noise is that of the instrument, a slow
part for what the model leaves out, and the weather where no barometer takes it off.
"""

from __future__ import annotations

__all__ = [
    "ALPHA",
    "DELTA",
    "TAU",
    "BlanketFit",
    "BlanketPrior",
    "Jump",
    "S",
    "W",
    "Z",
    "extra_column",
    "fit_blanket",
    "ramps_since",
    "weather_hides",
]

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from alerts.gas.blanket_bins import BIN_MS, BinArrays
from alerts.gas.blanket_columns import RT0, TAUS_D, BlanketColumns, blanket_columns
from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.blanket_noise import (
    NoiseSizes,
    Unexplained,
    noise_between,
    noise_sizes,
    sizes_as_seen,
    weather_between,
    weather_change,
)
from alerts.gas.common_air import CommonAir
from alerts.gas.wine_tables import Floats

# Order of the parameters.
ALPHA, W, DELTA, S, Z, TAU = range(6)

_ONSETS_H: Final = 0.67 * 1.43 ** np.arange(18.0)
# The noise may be smaller than it is taken to be, by as much.
_LEAST_SCALE: Final = 0.7
_MOST_STEPS: Final = 60
_INSIDE_BINS: Final = 2
_BIN_D: Final = BIN_MS / 86_400_000.0
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


@dataclass(frozen=True, slots=True)
class BlanketFit:
    """The fits. Chi squared by hypothesis (rows) and onset or step (columns); theta, cov: without a leak; mean,
    precision: what was known beforehand of all parameters but alpha, those of jumps too, by hypothesis; at_ms: of the
    bins; sizes: of the noise; common: the air's pressure by other gauges, where it was used.

    onset_days: since the first bin; kappa, u_kappa: kPa a day at T0 at the present pressure; least_w: 1/V20 of a vessel
    without wine, below which it cannot be.
    """

    columns: BlanketColumns
    prior: BlanketPrior
    inverse: Floats
    theta: Floats
    cov: Floats
    chi_sound: Floats
    onset_days: Floats
    chi_leak: Floats
    kappa: Floats
    u_kappa: Floats
    step_days: Floats
    chi_step: Floats
    step_kpa: Floats
    scale: float
    least_scale: float
    freedom: int
    design: Floats
    left: Floats
    w_changes: Floats
    mean: Floats
    precision: Floats
    at_ms: Floats
    sizes: NoiseSizes
    common: CommonAir | None
    least_w: float


def fit_blanket(
    bins: BinArrays,
    facts: BlanketFacts,
    prior: BlanketPrior,
    jumps: Sequence[Jump] = (),
    near_w: float | None = None,
    seen: Unexplained | None = None,
    common: CommonAir | None = None,
    near_onset_days: float | None = None,
) -> BlanketFit:
    """Fit at least three bins.

    jumps: those between the segments of the bins; near_w: 1/V20 as the fit before found it, at which the prior of the
    headspace is made linear; seen: what such a fit left unexplained: then the noise of hours is taken to be that;
    common: the air's pressure by what other gauges show, where no barometer does; near_onset_days: when a leak that was
    found before began, since the first bin. The other onsets lie too far apart to find an old leak again.
    """
    prior = _near(prior, near_w)
    columns = blanket_columns(bins, facts, None if common is None else common.kpa)
    sizes, noise = _noise(bins, columns, facts, float(prior.mean[0, 0]), seen, common)
    inverse = np.linalg.inv(noise)
    design = _design(columns, prior)
    design, mean, precision, changes = _with_jumps(design, columns, prior, jumps, facts)
    weighed = inverse @ columns.reduced
    a, c = _normal(design, inverse, weighed, mean, precision)
    cov = np.linalg.inv(a)
    theta = (cov @ c[:, :, None])[:, :, 0]
    fixed = np.sum(mean * (precision @ mean[:, :, None])[:, :, 0], axis=1)
    chi_sound = columns.reduced @ weighed + fixed - np.sum(c * theta, axis=1) + prior.penalty
    left = weighed - (design @ theta[:, :, None])[:, :, 0] @ inverse

    onset_days = _onsets(columns.days, near_onset_days)
    ramps = ramps_since(onset_days, columns)
    chi_drop, kappa, u_kappa, _ = extra_column(ramps, design, inverse, left, cov)
    step_days = _steps(columns.days)
    # A bin in which a step lies has a part of it.
    steps = -np.clip((columns.days[:, None] - step_days) / _BIN_D + 0.5, 0.0, 1.0)
    step_drop, step_kpa, _, _ = extra_column(steps, design, inverse, left, cov)

    chi_leak = chi_sound[:, None] - chi_drop
    freedom = max(len(columns.days) - 4, 1)
    least_scale = 1.0 if weather_hides(bins, facts) or freedom < 30 else _LEAST_SCALE
    best = min(float(chi_sound.min()), float(chi_leak.min()), float((chi_sound[:, None] - step_drop).min()))
    return BlanketFit(
        columns=columns,
        prior=prior,
        inverse=inverse,
        theta=theta,
        cov=cov,
        chi_sound=chi_sound,
        onset_days=np.tile(onset_days, len(columns.lost)),
        chi_leak=chi_leak,
        kappa=kappa,
        u_kappa=u_kappa,
        step_days=step_days,
        chi_step=chi_sound[:, None] - step_drop,
        step_kpa=step_kpa,
        scale=max(least_scale, best / freedom),
        least_scale=least_scale,
        freedom=freedom,
        design=design,
        left=left,
        w_changes=theta[:, changes].sum(axis=1),
        mean=mean,
        precision=precision,
        at_ms=bins.at_ms,
        sizes=sizes,
        common=common,
        least_w=1.0 / facts.filling.capacity_l,
    )


def weather_hides(bins: BinArrays, facts: BlanketFacts) -> bool:
    """Whether the weather moves the pressure of some bins unseen."""
    return facts.weather_moves and bool(np.isnan(bins.barometer_kpa).any())


def _noise(
    bins: BinArrays,
    columns: BlanketColumns,
    facts: BlanketFacts,
    w: float,
    seen: Unexplained | None,
    common: CommonAir | None,
) -> tuple[NoiseSizes, Floats]:
    """The sizes of the noise, and the covariance of the bins [kPa²]."""
    sizes = noise_sizes(bins, columns, facts, w)
    apart = np.abs(columns.days[:, None] - columns.days)
    hides = weather_hides(bins, facts)
    weather = None
    if hides:
        weather = weather_between(apart) if common is None else common.cov
    if seen is not None:
        sizes = sizes_as_seen(sizes, seen, 0.0 if weather is None else weather_change(columns.days, weather))
        if hides and common is None:
            weather = weather_between(apart, sizes.lag_d)
    noise = noise_between(apart, sizes)
    return sizes, noise if weather is None else noise + weather


def _near(prior: BlanketPrior, near_w: float | None) -> BlanketPrior:
    """Make the prior of 1/V at another place: people err in litres, so it is normal in V and not in 1/V."""
    if near_w is None:
        return prior
    mean, precision = prior.mean.copy(), prior.precision.copy()
    w = prior.mean[:, W - 1]
    u_v = precision[:, W - 1, W - 1] ** -0.5 / w**2
    near = np.clip(near_w, 1.0 / (1.0 / w + 3.0 * u_v), 1.0 / np.maximum(1.0 / w - 3.0 * u_v, 0.05))
    mean[:, W - 1] = near + (1.0 / near - 1.0 / w) * near**2
    precision[:, W - 1, W - 1] = (near**2 * u_v) ** -2.0
    return prior._replace(mean=mean, precision=precision)


def ramps_since(onset_days: Floats, columns: BlanketColumns) -> Floats:
    """The columns of leaks that begin at times: (bins, laws x onsets), the onsets of the first law first."""
    ramps = [-np.maximum(lost[:, None] - np.interp(onset_days, columns.days, lost), 0.0) for lost in columns.lost]
    return np.concatenate(ramps, axis=1)


def _design(columns: BlanketColumns, prior: BlanketPrior) -> Floats:
    """(hypotheses, bins, parameters)."""
    held = columns.uptake - prior.content[:, None] * columns.filling
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


def _normal(design: Floats, inverse: Floats, weighed: Floats, mean: Floats, precision: Floats) -> tuple[Floats, Floats]:
    a = design.transpose(0, 2, 1) @ (inverse @ design)
    a[:, 1:, 1:] += precision
    # Hardly any: it keeps a constant column from being singular with others over a short time.
    a[:, ALPHA, ALPHA] += 1e-8
    c = design.transpose(0, 2, 1) @ weighed
    c[:, 1:] += (precision @ mean[:, :, None])[:, :, 0]
    return a, c


def extra_column(
    columns: Floats, design: Floats, inverse: Floats, left: Floats, cov: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Add one column at a time: what chi squared falls by, the column's amount, its uncertainty, and its products."""
    ahead = inverse @ columns
    b = design.transpose(0, 2, 1) @ ahead
    d = np.sum(columns * ahead, axis=0)
    alone = np.maximum(d - np.sum(b * (cov @ b), axis=1), 1e-12 * np.maximum(d, 1e-6))
    r = left @ columns
    return r * r / alone, r / alone, alone**-0.5, b


def _onsets(days: Floats, near: float | None) -> Floats:
    """Times when a leak may have begun, since the first bin [d]: the first bin, ever closer to the end; and near."""
    before = days[-1] - _ONSETS_H / 24.0
    onsets = np.concatenate([[0.0], before[before > 0.02][::-1]])
    if near is None or not 0.02 < near < onsets[-1]:
        return onsets
    return np.unique(np.append(onsets, near))


def _steps(days: Floats) -> Floats:
    """Times between bins at which a step may lie: all of the youngest, every few of the older ones; and within the last
    bins, where half a step would look like a loss that goes on.
    """
    between = 0.5 * (days[1:] + days[:-1])[1:]
    if len(between) > _MOST_STEPS:
        young = between[-_MOST_STEPS // 2 :]
        old = between[: -_MOST_STEPS // 2]
        between = np.concatenate([old[:: -(-len(old) // (_MOST_STEPS // 2))], young])
    inside = days[max(len(days) - _INSIDE_BINS, 1) :, None] + _BIN_D * np.array([-0.25, 0.0, 0.25])
    return np.concatenate([between, inside.ravel()])
