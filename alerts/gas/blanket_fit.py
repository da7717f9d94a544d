"""Explaining the readings of a blanket with and without a leak, and how much better the one is than the other.

Generalised least squares with Gaussian priors: for every way in which the wine may dissolve gas, without a leak, with
one that began at each of several times, and with one sudden step instead. The noise is that of the instrument, a slow
part for what the model leaves out, and the weather where no barometer takes it off.
"""

from __future__ import annotations

__all__ = ["BlanketFit", "fit_blanket", "ramps_since", "weather_hides"]

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from alerts.gas.answering_wine import answers_of_wine, pull_of
from alerts.gas.blanket_bins import BIN_MS, BinArrays
from alerts.gas.blanket_columns import BlanketColumns, blanket_columns, taken_up
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
from alerts.gas.sound_fit import BlanketPrior, Jump, SoundFit, W, extra_column, sound_fit
from alerts.gas.wine_tables import Floats

_ONSETS_H: Final = 0.67 * 1.43 ** np.arange(18.0)
# The noise may be smaller than it is taken to be, by as much.
_LEAST_SCALE: Final = 0.7
_MOST_STEPS: Final = 60
_INSIDE_BINS: Final = 2
_BIN_D: Final = BIN_MS / 86_400_000.0
# By so much a fit with a leak must be better for the pressure to be taken from it.
_WORTH_A_LEAK: Final = 9.0


@dataclass(frozen=True, slots=True)
class BlanketFit:
    """The fits. Chi squared by hypothesis (rows) and onset or step (columns); theta, cov: without a leak; mean,
    precision: what was known beforehand of all parameters but alpha, those of jumps too, by hypothesis; at_ms: of the
    bins; sizes: of the noise; common: the air's pressure by other gauges, where it was used; explained: what the design
    explains [kPa], by hypothesis where wine answers; held: what the wine has taken up by 1/V [kPa L]; answers: how it
    answers (``answering_wine``), None where it holds little.

    onset_days: since the first bin; kappa, u_kappa: kPa a day at T0 at the present pressure; least_w: 1/V20 of a vessel
    without wine, below which it cannot be; where wine answers, of as much headspace as can be by what was believed.
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
    explained: Floats
    held: Floats
    answers: Floats | None
    least_w: float

    def answered(self, columns: Floats) -> Floats:
        """Put columns (bins, columns) in terms of the pressure, as the design is: by hypothesis where wine answers."""
        return columns if self.answers is None else self.answers @ columns

    def answers_to(self, by_hypothesis: Floats) -> Floats:
        """Put one column of each hypothesis (hypotheses, bins) in terms of the pressure."""
        return by_hypothesis if self.answers is None else (self.answers @ by_hypothesis[:, :, None])[:, :, 0]

    def explained_by(self, hypothesis: int) -> Floats:
        """What the design explains by one way of dissolving: u, for each bin [kPa]."""
        return self.explained if self.answers is None else self.explained[hypothesis]

    def left_of(self, hypothesis: int) -> Floats:
        """What the fit without a leak leaves of each bin [kPa]."""
        return np.asarray(self.explained_by(hypothesis) - self.design[hypothesis] @ self.theta[hypothesis])


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
    beforehand, prior = prior, _near(prior, near_w)
    columns = blanket_columns(bins, facts, None if common is None else common.kpa)
    w_believed = float(prior.mean[0, 0])
    sizes, noise = _noise(bins, columns, facts, w_believed, seen, common)
    inverse = np.linalg.inv(noise)
    w_near = w_believed if near_w is None else float(np.clip(near_w, *_plausible_w(beforehand, 2.0)))
    answers = answers_of_wine(columns, facts, w_near)
    onset_days = _onsets(columns.days, near_onset_days)
    sound = sound_fit(columns, prior, jumps, facts, inverse, answers, w_near)
    if answers is not None:
        # What the wine takes up follows from the pressure as explained, and not from the noise of the measured one.
        pressure = _pressure(sound, answers @ ramps_since(onset_days, columns), inverse)
        columns = columns._replace(uptake=taken_up(columns.days, pull_of(columns, facts, pressure), facts))
        sound = sound_fit(columns, prior, jumps, facts, inverse, answers, w_near)
    design, cov, theta, chi_sound = sound.design, sound.cov, sound.theta, sound.chi
    left = sound.left(inverse)

    ramps = ramps_since(onset_days, columns)
    step_days = _steps(columns.days)
    # A bin in which a step lies has a part of it.
    steps = -np.clip((columns.days[:, None] - step_days) / _BIN_D + 0.5, 0.0, 1.0)
    if answers is not None:
        ramps, steps = answers @ ramps, answers @ steps
    chi_drop, kappa, u_kappa, _ = extra_column(ramps, design, inverse, left, cov)
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
        w_changes=theta[:, sound.changes].sum(axis=1),
        mean=sound.mean,
        precision=sound.precision,
        at_ms=bins.at_ms,
        sizes=sizes,
        common=common,
        explained=sound.explained,
        held=sound.held,
        answers=answers,
        least_w=max(1.0 / facts.filling.capacity_l, 0.0 if answers is None else _plausible_w(beforehand, 3.0)[0]),
    )


def _pressure(sound: SoundFit, ramps: Floats, inverse: Floats) -> Floats:
    """u as the best fit explains it, without a leak or with one of those that ``ramps`` are, for each bin [kPa]."""
    drop, kappa, _, b = extra_column(ramps, sound.design, inverse, sound.left(inverse), sound.cov)
    chi = np.where(kappa > 0.0, sound.chi[:, None] - drop, np.inf)
    best, onset = np.unravel_index(int(chi.argmin()), chi.shape)
    if sound.chi.min() - chi[best, onset] < _WORTH_A_LEAK:
        best = sound.chi.argmin()
        return np.asarray(sound.design[best] @ sound.theta[best] + sound.apart[best])
    amount = kappa[best, onset]
    theta = sound.theta[best] - amount * (sound.cov[best] @ b[best, :, onset])
    return np.asarray(sound.design[best] @ theta + amount * ramps[best, :, onset] + sound.apart[best])


def _plausible_w(prior: BlanketPrior, deviations: float) -> tuple[float, float]:
    """The least and the most that 1/V can be by what was known beforehand, within so many standard deviations."""
    w, u_w = float(prior.mean[0, 0]), float(prior.precision[0, 0, 0]) ** -0.5
    off = deviations * u_w / w**2
    return 1.0 / (1.0 / w + off), 1.0 / max(1.0 / w - off, 0.5 / w)


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
