"""The air of the cellar: temperature and air pressure, from a seed."""

from __future__ import annotations

__all__ = ["ColdNight", "Weather"]

from collections.abc import Sequence
from math import cos, tau
from random import Random
from typing import NamedTuple

from ingest.simulation.physics import fading, station_pressure_kpa

_KNOT_MS = 600_000
_DAY_MS = 86_400_000
_HOUR_MS = 3_600_000


class ColdNight(NamedTuple):
    """A night that is colder than the others: by depth_k [K] at coldest_ms [UTC ms], and less and less up to half_ms
    before and after it.
    """

    coldest_ms: int
    half_ms: int
    depth_k: float

    def cooling_k(self, at_ms: int) -> float:
        """Give by how much it is colder at a time [K]: a wave of cos² shape."""
        away_ms = abs(at_ms - self.coldest_ms)
        return (
            0.0 if away_ms >= self.half_ms else self.depth_k * 0.5 * (1.0 + cos(tau * away_ms / (2.0 * self.half_ms)))
        )


class Weather:
    """Temperature and pressure of the air in the room, by day and night and by the weather.

    Temperature: a mean, a daily wave that is highest at ``warmest_utc_h``, and a slow drift (sd 0.6 K, time constant 3
    days). Pressure: the mean of the altitude with a slow drift (sd 0.7 kPa, 2 days: ordinary weather changes by 1 to 2
    kPa over days). The drift is drawn at knots ten minutes apart, with straight lines between them, so the same seed
    and start give the same air however often it is asked for. ``start_ms``: UTC milliseconds of the first knot;
    ``altitude_m``: m; ``cold_nights``: what comes on top. Sizes: common practice, no source.
    """

    def __init__(
        self,
        *,
        seed: int,
        start_ms: int,
        altitude_m: float = 340.0,
        mean_c: float = 13.5,
        day_swing_c: float = 1.3,
        warmest_utc_h: float = 15.0,
        cold_nights: Sequence[ColdNight] = (),
    ) -> None:
        self._cold_nights = tuple(cold_nights)
        self._random = Random(f"weather/{seed}")  # noqa: S311 - physics, not secrets
        self._start_ms = start_ms - start_ms % _KNOT_MS
        self._mean_c = mean_c
        self._day_swing_c = day_swing_c
        self._warmest_ms = round(warmest_utc_h * _HOUR_MS)
        self._station_kpa = station_pressure_kpa(altitude_m)
        self._warmth = fading(_KNOT_MS / 1000.0, 3 * 86_400.0, 0.6)
        self._pressing = fading(_KNOT_MS / 1000.0, 2 * 86_400.0, 0.7)
        self._knots: list[tuple[float, float]] = [(0.0, 0.0)]

    def air(self, at_ms: int) -> tuple[float, float]:
        """Return room temperature in °C and station pressure in kPa absolute.

        at_ms: UTC milliseconds, not before the start (ValueError).
        """
        index, beyond_ms = divmod(at_ms - self._start_ms, _KNOT_MS)
        if index < 0:
            raise ValueError(f"weather at {at_ms} ms: it begins at {self._start_ms} ms")
        while len(self._knots) < index + 2:
            self._draw()
        warm0, press0 = self._knots[index]
        warm1, press1 = self._knots[index + 1]
        share = beyond_ms / _KNOT_MS
        wave = self._day_swing_c * cos(tau * ((at_ms - self._warmest_ms) % _DAY_MS) / _DAY_MS)
        room_c = self._mean_c + wave + warm0 + share * (warm1 - warm0)
        room_c -= sum(night.cooling_k(at_ms) for night in self._cold_nights)
        return room_c, self._station_kpa + press0 + share * (press1 - press0)

    def _draw(self) -> None:
        warm, press = self._knots[-1]
        left, sd = self._warmth
        warm = left * warm + self._random.gauss(0.0, sd)
        left, sd = self._pressing
        self._knots.append((warm, left * press + self._random.gauss(0.0, sd)))
