"""What fits of a blanket say of a leak: how sure, how fast, since when; and of gas that comes in."""

from __future__ import annotations

__all__ = ["LeakEvidence", "Learned", "leak_evidence", "learned"]

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alerts.gas.blanket_columns import RT0, SETTLING, TAUS_D
from alerts.gas.blanket_fit import BlanketFit, ramps_since
from alerts.gas.gas_ahead import LossWays
from alerts.gas.sound_fit import DELTA, S, W, Z, extra_column
from alerts.gas.wine_tables import Floats

# mL a minute (0 °C, 101.325 kPa) of a mol a day.
ML_MIN_PER_MOL_DAY: Final = 22413.97 / 1440.0
# What a step is charged for having been chosen among many.
_STEP_CHARGE: Final = 4.0
_ZOOMS: Final = 3
_WORTH_ZOOMING: Final = 10.0
_OLD_DAYS: Final = 0.15
_OLD_BETTER: Final = 25.0
_WAYS: Final = 50


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
    what went into the wine since the first bin, by the best fit with it; share, zero: as in ``Learned``, with the leak;
    ways: those that explain the readings, as often as they are likely; fallen: by how much the pressure has fallen
    because of it: less than is lost, where the wine makes up for some.
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
    ways: LossWays | None = None
    fallen: float = 0.0


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
    grid = fit.onset_days[: len(fit.onset_days) // len(fit.columns.lost)]
    looks = [_look(fit, law, grid, sign) for law in range(len(fit.columns.lost))]
    if not any(np.isfinite(look.chi).any() for look in looks):
        return LeakEvidence(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    best = min(float(look.chi.min()) for look in looks)
    scale = max(fit.least_scale, min(best, rest) / fit.freedom)
    if (rest - best) / scale >= _WORTH_ZOOMING:
        looks = [_zoomed(fit, look, sign) for look in looks]
        best = min(float(look.chi.min()) for look in looks)
        scale = max(fit.least_scale, min(best, rest) / fit.freedom)
    better = (rest - best) / scale
    chi, kappa, u_kappa, onset, ramps = (
        np.concatenate([getattr(look, name) for look in looks], axis=-1)
        for name in ("chi", "kappa", "u_kappa", "onset", "ramps")
    )
    lowered = np.concatenate([look.lowered for look in looks], axis=-1)
    b = np.concatenate([look.products for look in looks], axis=-1)
    apart, is_near = (np.concatenate([getattr(look, name) for look in looks]) for name in ("apart", "is_near"))
    law = np.repeat(np.arange(len(looks)), [len(look.onset) for look in looks])
    # Of the ways of dissolving only those count that explain the readings with this leak.
    likely = _weights(chi.ravel(), scale).reshape(chi.shape)
    weights = likely * apart
    weights = weights / weights.sum()
    # Since when, and how much is gone, by the best onset: earlier ones are many, and each a little likely.
    best_weights = likely * is_near
    best_weights = best_weights / best_weights.sum()
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
        float(np.sum(best_weights * lost)),
        mean_kappa,
        float(np.sqrt(np.sum(weights * (variance + (kappa - mean_kappa) ** 2)))),
        mean_flow,
        float(np.sqrt(np.sum(weights * (flow**2 * relative + (flow - mean_flow) ** 2)))),
        float(np.sum(best_weights * onset)),
        mean_w := float(np.sum(weights * w)),
        float(np.sqrt(np.sum(weights * (var_w + (w - mean_w) ** 2)))),
        _uptake(fit, int(chi.min(axis=1).argmin()), kappa, shift, chi),
        float(np.sum(weights * (fit.theta[:, None, S] - kappa * shift[:, :, S]))),
        float(np.sum(weights * (fit.theta[:, None, Z] - kappa * shift[:, :, Z]))),
        loss_ways(fit, weights, kappa, scale**0.5 * u_kappa, shift, law),
        float(np.sum(best_weights * kappa * -lowered)),
    )


class _Look(NamedTuple):
    """Fits with a leak by one law that began at times: hypotheses (rows) by onsets, in order. apart: what each onset
    counts for among the others; is_near: whether it is one of those closest to the best, 1 or 0; ramps: of bins (rows);
    lowered: what each has made of the pressure by now; products: of ``extra_column``.
    """

    law: int
    onset: Floats
    apart: Floats
    is_near: Floats
    chi: Floats
    kappa: Floats
    u_kappa: Floats
    ramps: Floats
    lowered: Floats
    products: Floats


def _look(fit: BlanketFit, law: int, onset: Floats, sign: float) -> _Look:
    ramps = ramps_since(onset, fit.columns)[:, law * len(onset) : (law + 1) * len(onset)]
    answered = fit.answered(ramps)
    drop, kappa, u_kappa, products = extra_column(answered, fit.design, fit.inverse, fit.left, fit.cov)
    chi = np.where(sign * kappa > 0.0, fit.chi_sound[:, None] - drop, np.inf)
    same = np.ones(len(onset))
    return _Look(law, onset, same, same, chi, kappa, u_kappa, ramps, answered[..., -1, :], products)


def _zoomed(fit: BlanketFit, look: _Look, sign: float) -> _Look:
    """Look ever closer around the best onset: the better the readings, the closer it must be met for the rate to be
    right. How well it is met is part of how well the rate is known, so each look counts, by the time it stands for.
    """
    newest = look
    all_of = look.onset
    for _ in range(_ZOOMS):
        if not np.isfinite(newest.chi).any():
            break
        best = int(newest.chi.min(axis=0).argmin())
        newest = _look(fit, look.law, _finer(newest.onset, best, float(fit.columns.days[-1])), sign)
        all_of = np.concatenate([all_of, newest.onset])
    onset = np.unique(all_of)
    whole = _look(fit, look.law, onset, sign)
    edges = np.concatenate([onset[:1], 0.5 * (onset[1:] + onset[:-1]), [float(fit.columns.days[-1])]])
    is_near = (onset >= newest.onset[0]) & (onset <= newest.onset[-1])
    return whole._replace(apart=np.diff(edges), is_near=is_near.astype(np.float64))


def loss_ways(
    fit: BlanketFit, weights: Floats, kappa: Floats, u_kappa: Floats, shift: Floats, law: NDArray[np.intp]
) -> LossWays:
    """Pick ways of losing gas as often as they are likely, by hypothesis (rows) and onset (columns).

    shift: by how much kappa moves each parameter of the fits: (hypotheses, onsets, parameters); law: of each column.
    """
    evenly = (np.arange(_WAYS) + 0.5) / _WAYS
    picked = np.searchsorted(np.cumsum(weights), evenly).clip(0, weights.size - 1)
    row, column = np.unravel_index(picked, weights.shape)
    columns = fit.columns
    w = np.maximum(_w_now(fit)[row] - kappa[row, column] * shift[row, column, W], fit.least_w)
    w_then = np.maximum(fit.theta[row, W] - kappa[row, column] * shift[row, column, W], fit.least_w)
    delta = fit.theta[row, DELTA] - kappa[row, column] * shift[row, column, DELTA]
    left = np.exp(-columns.days[-1] / TAUS_D)
    taken = columns.uptake[1 : 1 + len(TAUS_D), -1] / columns.wine_kpa_l_mol
    content = taken + left * (fit.prior.content[row] + delta / w_then)[:, None]
    gauge = columns.absolute[-3:] - columns.air[-3:]
    return LossWays(
        kappa=kappa[row, column],
        u_kappa=u_kappa[row, column],
        w=w,
        is_viscous=(law[column] == 0).astype(np.float64),
        share=SETTLING[row],
        content=content,
        by_kappa=-left * (shift[row, column, DELTA] / w_then)[:, None],
        gauge_kpa=float(gauge.mean()),
    )


def _taken(fit: BlanketFit, w: Floats, delta: Floats) -> Floats:
    """What has gone into the wine by each bin [kPa at T0]: (hypotheses, bins)."""
    return np.asarray(fit.held * w[:, None] - fit.columns.filling * delta[:, None])


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
