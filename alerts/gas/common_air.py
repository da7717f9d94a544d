"""The weather by what several gauges show alike, where no barometer shows it.

Vented gauges all move against the air's pressure, tight vessels' by the same amount. So what other vessels' readings
leave beside temperature, dissolving and acts is a measurement of the weather, as uncertain as those vessels are
understood: that of two gauges at least, since of one alone, or of the difference between two, nobody can say which of
them moved. A gauge may be wrong by all that it differs from the others, since its vessel may leak unnoticed, or gain
gas. What moves faster or further than weather does is taken for something else that they share, and not used.

    z = air + vague parameters + noise          of each witness, with its own covariance
    z' = weighted mean of all z                 U = its covariance
    air = K (K + U)^-1 z'                       K = covariance of the weather
"""

from __future__ import annotations

__all__ = ["AirWitness", "CommonAir", "air_witness", "common_air"]

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alerts.gas.blanket_noise import NoiseSizes, noise_between, settling_alike, weather_between
from alerts.gas.wine_tables import Floats

_DAY_MS: Final = 86_400_000.0
# So many other vessels must show it (this project's choice).
_LEAST_WITNESSES: Final = 2
# More cost time and hardly help.
_MOST_WITNESSES: Final = 8
# A witness was read within so long before the newest bin, and reaches back over half of the bins or so many days.
_NEWEST_D: Final = 0.06
_BACK_D: Final = 3.0
_LEAST_BINS: Final = 12
# Between two of its bins that are further apart nothing is known [d].
_LONGEST_GAP_D: Final = 0.23
# So much of what the model leaves out do vessels in one room share.
_SHARED: Final = 0.5
# A vessel may lose or gain so much a day unnoticed, for so many days [kPa/d]; all together so much.
_UNNOTICED_KPA_DAY: Final = 0.15
_UNNOTICED_D: Final = 4.0
_ALL_UNNOTICED_KPA_DAY: Final = 0.03
# Of how far a witness is from the others.
_APART_SD: Final = 2.0
# The zero of all is unknown.
_ZERO_KPA: Final = 3.0
# Weather does not move by more within so many days: a deep low brings 2.4 kPa in 24 h, systems are within 3 kPa of the
# mean (Sanders and Gyakum 1980, from memory), with room for the noise of the gauges.
_MOST_KPA_WITHIN_D: Final = ((0.125, 2.5), (1.0, 5.0), (30.0, 8.0))


class AirWitness(NamedTuple):
    """What the gauge of one vessel shows of the air's pressure.

    at_ms: times of its bins, UTC ms; kpa: the air's pressure from any zero; vague: (bins, parameters) what each
    parameter that is not quite known may add, as one standard deviation; sizes: of its noise.
    """

    at_ms: Floats
    kpa: Floats
    vague: Floats
    sizes: NoiseSizes


class CommonAir(NamedTuple):
    """The air's pressure by what witnesses show, at the times of some bins: at_ms (UTC); kpa more than is usual there;
    its covariance [kPa²]; how many witnesses.
    """

    at_ms: Floats
    kpa: Floats
    cov: Floats
    witnesses: int

    @property
    def now_kpa(self) -> float:
        """The newest one."""
        return float(self.kpa[-1])

    @property
    def u_day_kpa(self) -> float:
        """The standard uncertainty of how it changed within the last day, or since the first bin."""
        then = int(np.searchsorted(self.at_ms, self.at_ms[-1] - _DAY_MS))
        return float(np.sqrt(max(self.cov[-1, -1] + self.cov[then, then] - 2.0 * self.cov[-1, then], 0.0)))

    @property
    def u_now_kpa(self) -> float:
        """The standard uncertainty of the newest one."""
        return float(np.sqrt(self.cov[-1, -1]))


def air_witness(
    at_ms: Floats, short_of: Floats, design: Floats, mean: Floats, precision: Floats, sizes: NoiseSizes
) -> AirWitness:
    """Make a witness of a vessel's bins, by its own readings alone.

    short_of: the reduced pressure as if the air's were always usual [kPa]; design: (bins, parameters) of the way of
    dissolving that explains it best, the first one constant; mean, precision: what was known beforehand of all
    parameters but the first.
    """
    days = (at_ms - at_ms[0]) / _DAY_MS
    apart = np.abs(days[:, None] - days)
    noise = noise_between(apart, sizes) + weather_between(apart)
    weighed = np.linalg.solve(noise, np.column_stack([design, short_of]))
    normal = design.T @ weighed[:, :-1]
    right = design.T @ weighed[:, -1]
    normal[1:, 1:] += precision
    normal[0, 0] += 1e-8
    right[1:] += precision @ mean
    theta = np.linalg.solve(normal, right)
    vague = design[:, 1:] @ np.linalg.cholesky(np.linalg.inv(precision))
    return AirWitness(at_ms, design @ theta - short_of, vague, sizes)


def common_air(witnesses: Sequence[AirWitness], at_ms: Floats) -> CommonAir | None:
    """Work out the air's pressure at the times of bins (UTC ms); None where too few others show it."""
    fit = [each for each in witnesses if _reaches(each, at_ms)]
    fit.sort(key=lambda each: each.sizes.of_hours)
    fit = fit[:_MOST_WITNESSES]
    if len(fit) < _LEAST_WITNESSES:
        return None
    days = (at_ms - at_ms[-1]) / _DAY_MS
    covered = np.logical_and.reduce([_covered(each, at_ms) for each in fit])
    if covered.sum() < _LEAST_BINS:
        return None
    shown = _mean_shown(fit, at_ms[covered])
    plausible = days[covered] >= _weather_since(days[covered], shown.kpa)
    if plausible.sum() < _LEAST_BINS:
        return None
    covered[covered] = plausible
    unsure = shown.cov[np.ix_(plausible, plausible)]
    weather = weather_between(np.abs(days[:, None] - days))
    ahead = weather[:, covered]
    gain = np.linalg.solve(weather[np.ix_(covered, covered)] + unsure, ahead.T).T
    return CommonAir(at_ms, gain @ shown.kpa[plausible], weather - gain @ ahead.T, len(fit))


class _Shown(NamedTuple):
    kpa: Floats
    cov: Floats


def _mean_shown(witnesses: Sequence[AirWitness], at_ms: Floats) -> _Shown:
    """The weighted mean of what witnesses show at times that all cover, with its covariance."""
    days = (at_ms - at_ms[-1]) / _DAY_MS
    apart = np.abs(days[:, None] - days)
    kpa = np.array([np.interp(at_ms, each.at_ms, each.kpa) for each in witnesses])
    kpa -= kpa.mean(axis=1, keepdims=True)
    vague = [_columns_at(each, at_ms) for each in witnesses]
    settling = np.array([np.interp(at_ms, each.at_ms, each.sizes.settling) for each in witnesses])
    sizes = np.array([(each.sizes.short, each.sizes.slow, each.sizes.white) for each in witnesses])
    spread = np.array([float((each**2).sum(axis=1).mean()) for each in vague])
    weights = 1.0 / (0.01 + (sizes[:, :2] ** 2).sum(axis=1) + np.minimum(spread, 4.0))
    weights = np.minimum(weights / weights.sum(), 0.5)
    weights /= weights.sum()
    mean = weights @ kpa
    # Each may be wrong by all that it is away from the mean of the others.
    away = (weights / (1.0 - weights))[:, None] * (kpa - mean)
    before = np.minimum(-days, _UNNOTICED_D)
    unnoticed = _UNNOTICED_KPA_DAY**2 * float((weights**2).sum()) + _ALL_UNNOTICED_KPA_DAY**2
    short, slow, white = (_of_mean(weights, column) for column in sizes.T)
    cov = noise_between(apart, NoiseSizes(white, short, slow, np.zeros(len(days))))
    both = weights[:, None] * settling
    shared = both.sum(axis=0)
    cov += settling_alike(apart, smooth=False) * ((1.0 - _SHARED) * both.T @ both + _SHARED * np.outer(shared, shared))
    columns = np.concatenate([weight * each for weight, each in zip(weights, vague, strict=True)], axis=1)
    cov += columns @ columns.T + _APART_SD**2 * away.T @ away
    cov += unnoticed * np.outer(before, before) + _ZERO_KPA**2
    return _Shown(mean, cov)


def _of_mean(weights: Floats, sizes: Floats) -> float:
    """The size of a noise in the weighted mean, of which vessels share a part."""
    alone, shared = float((weights**2) @ (sizes**2)), float(weights @ sizes) ** 2
    return float(np.sqrt((1.0 - _SHARED) * alone + _SHARED * shared))


def _columns_at(witness: AirWitness, at_ms: Floats) -> Floats:
    columns = np.array([np.interp(at_ms, witness.at_ms, column) for column in witness.vague.T]).T
    return np.asarray(columns - columns.mean(axis=0))


def _reaches(witness: AirWitness, at_ms: Floats) -> bool:
    """Whether a witness was read until lately, and for long enough."""
    back_ms = min(0.5 * float(at_ms[-1] - at_ms[0]), _BACK_D * _DAY_MS)
    is_new = witness.at_ms[-1] >= at_ms[-1] - _NEWEST_D * _DAY_MS
    return bool(is_new and witness.at_ms[0] <= at_ms[-1] - back_ms)


def _covered(witness: AirWitness, at_ms: Floats) -> NDArray[np.bool_]:
    """Whether each time lies between two of its bins that are not far apart."""
    places = np.searchsorted(witness.at_ms, at_ms)
    inside = (places > 0) & (places < len(witness.at_ms))
    upper = np.clip(places, 1, len(witness.at_ms) - 1)
    gaps = witness.at_ms[upper] - witness.at_ms[upper - 1]
    return np.asarray(inside & (gaps <= _LONGEST_GAP_D * _DAY_MS))


def _weather_since(days: Floats, kpa: Floats) -> float:
    """Since when what is shown alike has moved no more than weather does [d]; days: before now, negative."""
    change = np.abs(kpa[:, None] - kpa)
    apart = days[:, None] - days
    too_much = np.zeros(change.shape, dtype=bool)
    for within, most in _MOST_KPA_WITHIN_D:
        too_much |= (apart > 0.0) & (apart <= within) & (change > most)
    earlier = np.flatnonzero(too_much.any(axis=0))
    return float(days[earlier[-1]]) + 1e-6 if len(earlier) else float(days[0])
