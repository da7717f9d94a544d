"""What fits of a blanket say of a leak: how sure, how fast, since when; and of gas that comes in."""

from __future__ import annotations

__all__ = ["LeakEvidence", "Learned", "leak_evidence", "learned"]

from typing import Final, NamedTuple

import numpy as np

from alerts.gas.blanket_columns import RT0
from alerts.gas.blanket_fit import DELTA, BlanketFit, S, W, Z, extra_column, ramps_since
from alerts.gas.wine_tables import Floats

# mL a minute (0 °C, 101.325 kPa) of a mol a day.
ML_MIN_PER_MOL_DAY: Final = 22413.97 / 1440.0
# What a step is charged for having been chosen among many.
_STEP_CHARGE: Final = 4.0
_ZOOMS: Final = 4
_WORTH_ZOOMING: Final = 10.0
_OLD_DAYS: Final = 0.15
_OLD_BETTER: Final = 25.0


class Learned(NamedTuple):
    """What the fits say of headspace and instruments, averaged over the ways of dissolving by how well they fit.

    w, u_w: 1/V20 [1/L]; share: of the room in the gas; zero: kPa/K; uptake_kpa_day: what goes into the wine now.
    """

    w: float
    u_w: float
    share: float
    zero: float
    uptake_kpa_day: float
    uptake_kpa: float


class LeakEvidence(NamedTuple):
    """Evidence for a leak, or for gas that comes in.

    better: by how much chi squared is lower with it than with anything else, over the scatter of the readings; lost:
    gas lost (negative: gained) since its onset [kPa at T0]; kappa, u_kappa: kPa a day at T0 now; ml_min, u_ml_min: the
    same as a flow at 0 °C and 101.325 kPa; onset_days: since the first bin; w, u_w: 1/V20 with it [1/L]; uptake_kpa:
    what went into the wine since the first bin, by the best fit with it; share, zero: as in ``Learned``, with the leak.
    """

    better: float
    lost: float
    kappa: float
    u_kappa: float
    ml_min: float
    u_ml_min: float
    onset_days: float
    w: float = 0.0
    u_w: float = 0.0
    uptake_kpa: float = 0.0
    share: float = 0.0
    zero: float = 0.0


def learned(fit: BlanketFit) -> Learned:
    """Average what the fits without a leak say."""
    weights = _weights(fit.chi_sound, fit.scale)
    w_now = _w_now(fit)
    w = float(weights @ w_now)
    variance = weights @ (fit.scale * fit.cov[:, W, W] + (w_now - w) ** 2)
    taken = _taken(fit, fit.theta[:, W], fit.theta[:, DELTA])
    days = fit.columns.days
    back = int(np.searchsorted(days, days[-1] - 0.25))
    back = min(back, len(days) - 2)
    rate = (taken[:, -1] - taken[:, back]) / (days[-1] - days[back])
    return Learned(
        max(w, fit.least_w),
        float(np.sqrt(variance)),
        float(weights @ fit.theta[:, S]),
        float(weights @ fit.theta[:, Z]),
        float(weights @ rate),
        float(weights @ (taken[:, -1] - taken[:, 0])),
    )


def leak_evidence(fit: BlanketFit, sign: float = 1.0) -> LeakEvidence:
    """Weigh the fits with a leak against those without; sign -1: with gas that comes in."""
    rest = float(fit.chi_sound.min())
    if fit.chi_step.size:
        rest = min(rest, float(fit.chi_step.min()) + _STEP_CHARGE * fit.scale)
    laws = len(fit.columns.lost)
    grid = fit.onset_days[: len(fit.onset_days) // laws]
    for _ in range(_ZOOMS):
        onset = np.tile(grid, laws)
        drop, kappa, u_kappa, b = extra_column(
            ramps := ramps_since(grid, fit.columns), fit.design, fit.inverse, fit.left, fit.cov
        )
        chi = np.where(sign * kappa > 0.0, fit.chi_sound[:, None] - drop, np.inf)
        if not np.isfinite(chi).any():
            return LeakEvidence(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        best = float(chi.min())
        scale = max(fit.least_scale, min(best, rest) / fit.freedom)
        better = (rest - best) / scale
        if better < _WORTH_ZOOMING:
            break
        # The better the readings, the closer the onset must be met for the rate to be right.
        grid = _finer(grid, int(chi.min(axis=0).argmin()) % len(grid), float(fit.columns.days[-1]))
    # Of the ways of dissolving only those count that explain the readings with this leak.
    weights = _weights(chi.ravel(), scale).reshape(chi.shape)
    shift = (fit.cov @ b).transpose(0, 2, 1)
    w = np.maximum(_w_now(fit)[:, None] - kappa * shift[:, :, W], fit.least_w)
    variance = scale * u_kappa**2
    var_w = scale * fit.cov[:, None, W, W] + shift[:, :, W] ** 2 * variance
    both = -shift[:, :, W] * variance
    flow = kappa / (RT0 * w) * ML_MIN_PER_MOL_DAY
    kappa = np.where(kappa == 0.0, sign * 1e-12, kappa)
    relative = np.maximum(variance / kappa**2 + var_w / w**2 - 2.0 * both / (kappa * w), 0.0)
    lost = kappa * -ramps[-1]
    mean_flow, mean_kappa = float(np.sum(weights * flow)), float(np.sum(weights * kappa))
    return LeakEvidence(
        better,
        float(np.sum(weights * lost)),
        mean_kappa,
        float(np.sqrt(np.sum(weights * (variance + (kappa - mean_kappa) ** 2)))),
        mean_flow,
        float(np.sqrt(np.sum(weights * (flow**2 * relative + (flow - mean_flow) ** 2)))),
        float(np.sum(weights * onset)),
        mean_w := float(np.sum(weights * w)),
        float(np.sqrt(np.sum(weights * (var_w + (w - mean_w) ** 2)))),
        _uptake(fit, int(chi.min(axis=1).argmin()), kappa, shift, chi),
        float(np.sum(weights * (fit.theta[:, None, S] - kappa * shift[:, :, S]))),
        float(np.sum(weights * (fit.theta[:, None, Z] - kappa * shift[:, :, Z]))),
    )


def _taken(fit: BlanketFit, w: Floats, delta: Floats) -> Floats:
    """What has gone into the wine by each bin [kPa at T0]: (hypotheses, bins)."""
    held = -fit.design[:, :, W] - fit.columns.growth
    return np.asarray(held * w[:, None] - fit.design[:, :, DELTA] * delta[:, None])


def _uptake(fit: BlanketFit, best: int, kappa: Floats, shift: Floats, chi: Floats) -> float:
    """What went into the wine since the first bin, by the best fit with a leak [kPa at T0]."""
    onset = int(chi[best].argmin())
    by = kappa[best, onset] * shift[best, onset]
    w, delta = fit.theta[best, W] - by[W], fit.theta[best, DELTA] - by[DELTA]
    taken = _taken(fit, np.full(len(fit.theta), w), np.full(len(fit.theta), delta))[best]
    return float(taken[-1] - taken[0])


class OldStep(NamedTuple):
    """A step that only the fits have noticed: when, since the first bin [d], and its size [kPa at T0]."""

    days: float
    kpa: float


def old_step(fit: BlanketFit) -> OldStep | None:
    """Look for a step, hours ago, that explains the readings far better than a leak or none: drawn in a gap, say."""
    if not fit.chi_step.size:
        return None
    best = np.unravel_index(int(np.argmin(fit.chi_step)), fit.chi_step.shape)
    days = float(fit.step_days[best[1]])
    rest = min(float(fit.chi_sound.min()), float(fit.chi_leak.min()))
    if fit.columns.days[-1] - days < _OLD_DAYS or rest - float(fit.chi_step[best]) < _OLD_BETTER * fit.scale:
        return None
    return OldStep(days, -float(fit.step_kpa[best]))


def _w_now(fit: BlanketFit) -> Floats:
    """1/V of the newest segment: what jumps have changed is in it."""
    return np.asarray(fit.theta[:, W] + fit.w_changes)


def _weights(chi: Floats, scale: float) -> Floats:
    weights = np.exp(-0.5 * (chi - chi.min()) / scale)
    return np.asarray(weights / weights.sum())


def _finer(onset: Floats, best: int, end: float) -> Floats:
    """More onsets around the best one, which stays among them."""
    low = float(onset[max(best - 1, 0)])
    at = float(onset[best])
    high = float(onset[best + 1]) if best + 1 < len(onset) else min(2.0 * at - low, 0.5 * (at + end))
    return np.unique(np.append(np.linspace(low, high, 9), at))
