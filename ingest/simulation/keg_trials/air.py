"""The air of each keg's room: day and night, drift, doors, a cooler that runs and rests, and the weather's pressure."""

from __future__ import annotations

__all__ = ["air_of", "wine_at_start"]

from math import atan, cos, sqrt, tau

import numpy as np
from numpy.random import Generator

from ingest.simulation.keg_trials.array_physics import Floats
from ingest.simulation.keg_trials.keg import KegAir
from ingest.simulation.physics import fading

_KNOT_S = 600.0
_DAY_S = 86_400.0
_DRIFT_S = 3 * _DAY_S


def air_of(
    air: KegAir, at_s: Floats, random: Generator, later: Generator | None = None, later_s: float = np.inf
) -> tuple[Floats, Floats]:
    """Draw the air of one room: temperature [°C] and pressure [kPa absolute] at times in s, evenly spaced from 0 on.

    Drift and weather are drawn at knots ten minutes apart, with straight lines between them. later: draws those after
    ``later_s``, so that what lies before does not depend on how long it goes on.
    """
    knots = int(at_s[-1] // _KNOT_S) + 2
    first = min(int(later_s // _KNOT_S) + 2, knots) if later is not None else knots
    knot_s = _KNOT_S * np.arange(knots)

    def kicks() -> Floats:
        begin = random.standard_normal(first)
        return begin if later is None else np.concatenate([begin, later.standard_normal(knots - first)])

    room = air.mean_c + 0.5 * air.swing_k * np.cos(tau * (at_s - 3600.0 * air.warmest_h) / _DAY_S)
    room += np.interp(at_s, knot_s, _wander(kicks(), air.drift_k, _DRIFT_S, 0.0))
    station = air.station_kpa + np.interp(
        at_s, knot_s, _wander(kicks(), air.weather_kpa, air.weather_s, air.weather_lag_s)
    )
    if air.compressor_k:
        phase = (at_s / air.compressor_s + random.random()) % 1.0
        # Slowly warm, quickly cool again.
        saw = np.where(phase < 0.7, phase / 0.7, (1.0 - phase) / 0.3) - 0.5
        room += air.compressor_k * saw
    for begin_s, jump_k, fades_s in air.doors:
        since = at_s - begin_s
        open_for = (since >= 0.0) & (since < 12.0 * fades_s)
        room[open_for] += jump_k * np.exp(-since[open_for] / fades_s)
    return room, station


def wine_at_start(air: KegAir, lag_s: float) -> float:
    """Work out the wine's temperature at 0 s if it has always followed the daily wave: damped and late [°C]."""
    turn = tau * lag_s / _DAY_S
    phase = -tau * 3600.0 * air.warmest_h / _DAY_S - atan(turn)
    return air.mean_c + 0.5 * air.swing_k * cos(phase) / sqrt(1.0 + turn * turn)


def _wander(kicks: Floats, sd: float, constant_s: float, lag_s: float) -> Floats:
    """A slow drift around 0, driven at each knot; it begins anywhere in its range, and a lag smooths it."""
    left, kick = fading(_KNOT_S, constant_s, 1.0)
    smooth = np.exp(-_KNOT_S / lag_s) if lag_s else 0.0
    value = smoothed = float(kicks[0])
    values = np.empty(len(kicks))
    for i in range(len(kicks)):
        if i:
            value = left * value + kick * kicks[i]
            smoothed = smooth * smoothed + (1.0 - smooth) * value
        values[i] = smoothed
    return sd * values
