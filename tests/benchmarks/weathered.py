"""Made-up years of readings: day and night, weather, an instrument's noise and digits, times with jitter."""

from __future__ import annotations

__all__ = ["DAY_MS", "MIXES", "Made", "cellar_year", "harsh"]

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

DAY_MS = 86_400_000
EVERY_MS = 10_000


class Made(NamedTuple):
    """Times (UTC ms, strictly rising) and values."""

    at_ms: npt.NDArray[np.int64]
    values: npt.NDArray[np.float64]


def _truth(chance: np.random.Generator, seconds: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """17 °C that swings by 1.5 K with the day, 4 K with the year, and walks with the weather by some 2 K a week."""
    hours = int(seconds[-1] // 3600) + 2 if len(seconds) else 2
    walk = np.empty(hours)
    level, steps = 0.0, chance.normal(0, 0.2, hours)
    for hour in range(hours):
        level = 0.99 * level + steps[hour]
        walk[hour] = level
    weather = np.interp(seconds, 3600.0 * np.arange(hours), walk)
    year = 365.25 * 86_400
    return np.asarray(
        17 + 1.5 * np.sin(2 * np.pi * seconds / 86_400) + 4 * np.sin(2 * np.pi * seconds / year) + weather
    )


def cellar_year(seed: int, days: int, until_ms: int) -> Made:
    """10 s apart, jitter of 50 ms (standard deviation), noise of 0.02, two digits after the point."""
    chance = np.random.default_rng(seed)
    count = days * DAY_MS // EVERY_MS
    grid = until_ms - count * EVERY_MS + EVERY_MS * np.arange(count, dtype=np.int64)
    times = grid + np.clip(np.rint(chance.normal(0, 50, count)), -4000, 4000).astype(np.int64)
    values = _truth(chance, (grid - grid[0]) / 1000) + chance.normal(0, 0.02, count)
    return Made(times, np.round(values, 2))


def harsh(jitter_ms: float, digits: int | None, *, bursts: bool = False) -> Callable[[int, int, int], Made]:
    """Another mix: jitter of so many ms; noise of 0.02 with so many digits, None for doubles as arithmetic leaves them;
    bursts: an hour in four at ten readings a second for a minute."""

    def make(seed: int, days: int, until_ms: int) -> Made:
        chance = np.random.default_rng(seed)
        count = days * DAY_MS // EVERY_MS
        grid = until_ms - count * EVERY_MS + EVERY_MS * np.arange(count, dtype=np.int64)
        times = grid + np.rint(chance.normal(0, jitter_ms, count)).astype(np.int64)
        if bursts:
            starts = np.arange(grid[0], grid[-1], 4 * 3_600_000)
            times = np.concatenate((times, (starts[:, None] + 100 * np.arange(600)[None, :]).ravel()))
        times = np.unique(times)
        values = _truth(chance, (times - times[0]) / 1000) + chance.normal(0, 0.02, len(times))
        return Made(times, values if digits is None else np.round(values, digits))

    return make


MIXES: dict[str, Callable[[int, int, int], Made]] = {
    "jitter 50 ms, 2 digits": cellar_year,
    "jitter 15 ms, 3 digits": harsh(15, 3),
    "jitter 1 s, 2 digits": harsh(1000, 2),
    "jitter 1 s, 3 digits, bursts": harsh(1000, 3, bursts=True),
    "jitter 50 ms, whole doubles": harsh(50, None),
}
"""The first is the one with a goal."""
