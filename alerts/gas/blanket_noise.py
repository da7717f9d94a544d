"""The noise that the readings of a blanket are taken to have when they are explained: its size and its kinds.

White: the instrument's own. Slow: what the model leaves out of how gas, wall and wine follow the room; taken as large
as the probes make likely, until two days of readings have shown how large it is. Smooth: how wine dissolves gas is
never quite as in the formula. Weather: only where nothing else takes it off.
"""

from __future__ import annotations

__all__ = [
    "NoiseSizes",
    "Unexplained",
    "noise_between",
    "noise_sizes",
    "settling_alike",
    "sizes_as_seen",
    "two_hours_apart",
    "unexplained",
    "weather_between",
    "weather_change",
]

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alerts.gas.blanket_bins import BinArrays
from alerts.gas.blanket_columns import BlanketColumns
from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.wine_tables import Floats

# Standard deviation and correlation time of what the model leaves out.
_MODEL_KPA: Final = 0.02
# As a temperature: by where the probe is, and whether the room's is read. At the wall wine and gas are guessed from it.
_MODEL_K_OF: Final = {
    ("wine", True): 0.02,
    ("wine", False): 0.1,
    ("wall", True): 0.05,
    ("wall", False): 0.25,
}
_MODEL_D: Final = 0.12
_SLOW_SHARE: Final = 0.5
_SLOW_D: Final = 1.0
_SETTLING_SHARE: Final = 0.03
# Of argon and carbon dioxide, for which nitrogen comes out of the wine.
_OTHER_SETTLING_SHARE: Final = 0.06
_SETTLING_D: Final = 1.5
# Of the weather (ordinary weather moves by 1 to 2 kPa over days).
_WEATHER_KPA: Final = 1.2
_WEATHER_D: Final = 2.5
# By so much it may be smoothed, where two days have shown that it changes slowly; 3 h leave 0.16 kPa in two hours, as
# much as a deep low brings (2.4 kPa a day; Sanders and Gyakum 1980, from memory).
_WEATHER_LAGS_D: Final = (0.0, 0.02, 0.04, 0.08, 0.125)

# What is left unexplained is looked at over so long, and not in the newest hours, in which a leak may have begun.
_LAG_D: Final = 1.0 / 12.0
_NOT_NEWEST_D: Final = 0.25
# What was taken beforehand counts like so many looks; there must be a day of them.
_LOOKS_BEFORE: Final = 6.0
_LEAST_LOOKS: Final = 12
# Of so many of the changes the largest is taken as that much of a standard deviation (normal distribution).
_QUANTILE: Final = 0.85
_QUANTILE_SD: Final = 1.44
_LEAST_SHARE: Final = 0.2
_MOST_SHARE: Final = 2.0


class NoiseSizes(NamedTuple):
    """How large each kind of noise is.

    white, short, slow: standard deviations [kPa] of the instrument, and of what the model leaves out for hours and for
    a day; settling: by bin, of what the wine has taken up [kPa]; smooth: whether that errs smoothly; lag_d: smooths the
    weather.
    """

    white: float
    short: float
    slow: float
    settling: Floats
    smooth: bool = False
    lag_d: float = 0.0

    @property
    def of_hours(self) -> float:
        """What is not the instrument's, over hours and days [kPa]."""
        return self.short + float(self.settling[-1])


def noise_sizes(bins: BinArrays, columns: BlanketColumns, facts: BlanketFacts, w: float) -> NoiseSizes:
    """Work out how large the noise is by what is known beforehand. w: 1/V20 as believed [1/L]."""
    scatter = bins.noise_kpa[~np.isnan(bins.noise_kpa)]
    white = max(0.02, float(np.median(scatter)) if len(scatter) else 0.05)
    # What a kelvin does to the pressure.
    kpa_k = 0.7 + 0.5 * min(w, 4.0)
    model = float(np.hypot(_MODEL_KPA, _MODEL_K_OF[facts.mounted, not np.isnan(bins.room_c).any()] * kpa_k))
    level = columns.reduced + w * columns.growth
    share = _SETTLING_SHARE if facts.gas.name == "nitrogen" else _OTHER_SETTLING_SHARE
    return NoiseSizes(white, model, _SLOW_SHARE * model, share * np.abs(level - level[0]))


def sizes_as_seen(sizes: NoiseSizes, seen: Unexplained, of_weather: float) -> NoiseSizes:
    """Take the noise of hours as it was seen before, and the wine to dissolve gas smoothly: good for looking at the
    newest hours.

    of_weather: the variance of what the weather changes within two hours, 0 where it is taken off [kPa²].
    """
    of_model = 2.0 * (1.0 - np.exp(-_LAG_D / _MODEL_D))
    before = of_model * sizes.short**2 + of_weather
    rest = max(seen.kpa**2 - 2.0 * sizes.white**2, 0.0)
    both = (seen.looks * rest + _LOOKS_BEFORE * before) / (seen.looks + _LOOKS_BEFORE)
    short = max((both - of_weather) / of_model, 0.0) ** 0.5
    short = float(np.clip(short, _LEAST_SHARE * sizes.short, _MOST_SHARE * sizes.short))
    by_lag = [_weather_change(lag) for lag in _WEATHER_LAGS_D]
    lag_d = float(np.interp(of_model * short**2 - both, [-each for each in by_lag], _WEATHER_LAGS_D))
    # What follows the day is not seen within two hours: it stays what was taken beforehand.
    return sizes._replace(short=short, slow=max(sizes.slow, _SLOW_SHARE * short), smooth=True, lag_d=lag_d)


def noise_between(apart: Floats, sizes: NoiseSizes) -> Floats:
    """Work out the covariance of bins that are so far apart [d], without the weather [kPa²]."""
    noise = sizes.short**2 * np.exp(-apart / _MODEL_D) + sizes.slow**2 * np.exp(-apart / _SLOW_D)
    if sizes.settling.any():
        noise += np.outer(sizes.settling, sizes.settling) * settling_alike(apart, smooth=sizes.smooth)
    noise[np.diag_indices_from(noise)] += sizes.white**2
    return np.asarray(noise)


def settling_alike(apart: Floats, *, smooth: bool) -> Floats:
    """The correlation of how the dissolving differs from its formula. smooth: over an hour by far less than a day."""
    if not smooth:
        return np.asarray(np.exp(-apart / _SETTLING_D))
    far = 3.0**0.5 * apart / _SETTLING_D
    return np.asarray((1.0 + far) * np.exp(-far))


def weather_between(apart: Floats, lag_d: float = 0.0) -> Floats:
    """Work out the covariance of the air's pressure at times so far apart [d], smoothed by a lag [kPa²]."""
    far = np.exp(-apart / _WEATHER_D)
    if lag_d:
        far = (_WEATHER_D * far - lag_d * np.exp(-apart / lag_d)) / (_WEATHER_D - lag_d)
    return np.asarray(_WEATHER_KPA**2 * far)


def weather_change(days: Floats, weather: Floats) -> float:
    """The variance of what the weather changes within two hours, by its covariance [kPa²]; days: of the bins."""
    first, later = two_hours_apart(days)
    if not len(first):
        return _weather_change(0.0)
    return float(np.mean(weather[first, first] + weather[later, later] - 2.0 * weather[first, later]))


def _weather_change(lag_d: float) -> float:
    return float(2.0 * (_WEATHER_KPA**2 - weather_between(np.array([_LAG_D]), lag_d)[0]))


def two_hours_apart(days: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Find pairs of bins that are two hours apart, by their places."""
    later = np.minimum(np.searchsorted(days, days + _LAG_D - 0.007), len(days) - 1)
    first = np.flatnonzero(np.abs(days[later] - days - _LAG_D) < 0.02)
    return first, later[first]


class Unexplained(NamedTuple):
    """How much a fit left to change within two hours, as a standard deviation [kPa], and from how many looks."""

    kpa: float
    looks: int


def unexplained(columns: BlanketColumns, left_kpa: Floats) -> Unexplained | None:
    """Look at what is left of each bin by the fit without a leak; None where there is too little."""
    days = columns.days
    first, later = two_hours_apart(days)
    counts = (columns.segment[first] == columns.segment[later]) & (days[later] < days[-1] - _NOT_NEWEST_D)
    first, later = first[counts], later[counts]
    # Each two hours count once, however many bins they have.
    looks = round(float(np.minimum(np.gradient(days)[first], _LAG_D).sum()) / _LAG_D) if len(days) > 1 else 0
    if looks < _LEAST_LOOKS:
        return None
    return Unexplained(float(np.quantile(np.abs(left_kpa[later] - left_kpa[first]), _QUANTILE)) / _QUANTILE_SD, looks)
