"""How the gas over a wine goes on: what leaks, what the wine takes up or gives back, temperature and weather.

Many courses are worked out side by side, each with a loss, a way of dissolving, weather and temperature of its own.
Their spread is the uncertainty of the hours that are left. The draws are always the same, so that the same readings
give the same hours.
"""

from __future__ import annotations

__all__ = ["COURSES", "LossWays", "hours_of_courses", "ways_alike"]

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alerts.gas.blanket_columns import RT0, T0_K, TAUS_D
from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.gases import kelvin
from alerts.gas.wine_tables import Floats, wine_tables

COURSES: Final = 100
# The first steps are even, this many to the hours that the loss alone would take; the later ones grow to 400 days.
_EVEN_STEPS: Final = 96
_STEPS_TO_END: Final = 24
_LATER_STEPS: Final = 48
_MOST_H: Final = 10_000.0
_LONGEST_EVEN_H: Final = 2.0
_SHORTEST_EVEN_H: Final = 1.0 / 60.0
# Weather, and how a room's temperature drifts from day to day: standard deviation and time constant (common practice,
# no source); the drift where a day has not been seen yet.
_WEATHER_KPA: Final = 1.2
_WEATHER_D: Final = 2.5
_DRIFT_K: Final = 0.7
_DRIFT_D: Final = 3.0
_UNSEEN_DAY_K: Final = 2.0
# Of the gauge's zero, by which the true pressure may differ from what is read.
_U_ZERO_KPA: Final = 0.5
# By which law gas leaves is not quite known, nor are the wine's and the blanket's temperatures.
_U_LOSS: Final = 0.15
_LEAST_LOSS: Final = 0.02
_LEAST_DRIVE_KPA: Final = 0.05


class LossWays(NamedTuple):
    """Ways in which gas may be lost and dissolve, each as likely as any other: arrays with a row for each way.

    kappa, u_kappa: kPa a day at T0 when the gauge is ``gauge_kpa``; w: 1/V20 [1/L]; is_viscous: whether it leaks
    through a long narrow path, else through a hole; share: of the wine, by time constant of dissolving; content: what
    that share of the wine holds now, mol/L; by_kappa: how that moves with kappa.
    """

    kappa: Floats
    u_kappa: Floats
    w: Floats
    is_viscous: Floats
    share: Floats
    content: Floats
    by_kappa: Floats
    gauge_kpa: float

    def losing(self, kappa: float, u_kappa: float, gauge_kpa: float) -> LossWays:
        """Take the same ways of dissolving with another loss."""
        same = np.ones(len(self.kappa))
        is_viscous, unmoved = np.arange(len(same)) % 2.0, np.zeros_like(self.by_kappa)
        return self._replace(
            kappa=kappa * same, u_kappa=u_kappa * same, is_viscous=is_viscous, by_kappa=unmoved, gauge_kpa=gauge_kpa
        )


def ways_alike(kappa: float, u_kappa: float, w: float, gauge_kpa: float) -> LossWays:
    """Make ways in which nothing dissolves, by either law."""
    two, none = np.ones(2), np.zeros((2, len(TAUS_D)))
    laws = np.array([1.0, 0.0])
    return LossWays(kappa * two, u_kappa * two, w * two, laws, none, none, none, gauge_kpa)


def hours_of_courses(
    reduced_kpa: float, air_kpa: float, ways: LossWays, facts: BlanketFacts, last_day_c: Floats, celsius: float
) -> Floats:
    """Work out for each course after how many hours the gauge is first below the air floor, infinite if never.

    reduced_kpa: dry, at T0, now; air_kpa: absolute, now; last_day_c: temperatures of the last 24 h, evenly spaced, the
    newest last, or only the newest; celsius: now.
    """
    way = np.arange(COURSES) * len(ways.kappa) // COURSES
    kappa, w = ways.kappa[way], ways.w[way]
    more = np.hypot(ways.u_kappa[way], _U_LOSS * kappa) * _Z_LOSS
    more = np.maximum(more, (_LEAST_LOSS - 1.0) * np.abs(kappa))
    wine = _HeldGas(facts, ways.share[way], ways.content[way] + more[:, None] * ways.by_kappa[way], w)
    hours = _steps(reduced_kpa, air_kpa, float(ways.kappa.mean()), facts.floor_kpa)
    air = air_kpa + _wander(hours, _WEATHER_KPA, _WEATHER_D, _Z_WEATHER)
    warmth, coldest = _warmth(hours, last_day_c, celsius)
    usual, cold = _Warm.at(warmth, w, facts), _Warm.at(coldest, w, facts)
    path = _LeakPath.of(ways.is_viscous[way] > 0.5, air_kpa)
    now = path.drive(np.maximum(np.full(COURSES, ways.gauge_kpa), 1.0))
    level = reduced_kpa * (1.0 + w * usual.growth[0])
    gauge = level * usual.per_level[0] + usual.vapour[0] - air[0]
    # What the gauge shows now is above the floor, whatever its zero.
    floor = np.minimum(facts.floor_kpa + _U_ZERO_KPA * _Z_ZERO, np.maximum(gauge - 1e-3, facts.floor_kpa))
    over = gauge - floor
    ends = np.full(COURSES, np.inf)
    for step in range(1, len(hours)):
        days = (hours[step] - hours[step - 1]) / 24.0
        drives = np.maximum(gauge, _LEAST_DRIVE_KPA)
        room = drives / usual.per_level[step]
        # The loss fades within the step: exact for an exponential.
        speed = (kappa + more) * path.drive(drives) / now / room
        level = level - room * -np.expm1(-np.minimum(speed * days, 30.0)) * (gauge > 0.0)
        level = wine.exchange(days, level, usual.per_level[step], usual.solubility[step])
        gauge = level * usual.per_level[step] + usual.vapour[step] - air[step]
        before, over = over, level * cold.per_level[step] + cold.vapour[step] - air[step] - floor
        part = before / np.maximum(before - over, 1e-9)
        at = hours[step - 1] + np.clip(part, 0.0, 1.0) * (hours[step] - hours[step - 1])
        ends = np.where((over < 0.0) & np.isinf(ends), at, ends)
        if np.isfinite(ends).all():
            break
    return ends


class _LeakPath(NamedTuple):
    """The paths of the leaks: from a long narrow one to a hole: gauge x (2 air + gauge), gauge, gauge^0.75, gauge^0.5.

    Of a path that is taken for a long narrow one or for a hole, half are a step nearer to the other.
    """

    power: Floats
    curve: Floats

    @classmethod
    def of(cls, is_viscous: NDArray[np.bool_], air_kpa: float) -> _LeakPath:
        """Make the path of each course."""
        power = np.where(is_viscous, 1.0, np.where(_IS_BETWEEN, 0.75, 0.5))
        return cls(power, (is_viscous & ~_IS_BETWEEN) / (2.0 * air_kpa))

    def drive(self, gauge: Floats) -> Floats:
        """Work out what the flow is proportional to."""
        return np.asarray(gauge**self.power * (1.0 + self.curve * gauge))


class _Warm(NamedTuple):
    """What temperature does, by step and course. growth: of the headspace [L]; per_level: pressure by level; vapour:
    kPa; solubility: mol/(L kPa).
    """

    growth: Floats
    per_level: Floats
    vapour: Floats
    solubility: Floats

    @classmethod
    def at(cls, celsius: Floats, w: Floats, facts: BlanketFacts) -> _Warm:
        """Work it out for temperatures [°C] by step (rows) and course."""
        tables = wine_tables(facts.filling, facts.gas)
        growth = tables.growth_at(celsius)
        per_level = (celsius + kelvin(0.0)) / T0_K / np.maximum(1.0 + w * growth, 0.05)
        return cls(growth, per_level, tables.vapour_at(celsius), tables.solubility_at(celsius))


class _HeldGas:
    """What the wine holds, by course and time constant."""

    def __init__(self, facts: BlanketFacts, share: Floats, content: Floats, w: Floats) -> None:
        self._share = share * (w * RT0 * facts.filling.wine_l)[:, None]
        self._content = content
        self._dissolves = bool(share.any())

    def exchange(self, days: float, level: Floats, per_level: Floats, solubility: Floats) -> Floats:
        """Let gas go into the wine, or out of it, for so long; give the level after it. Steady for any length."""
        if not self._dissolves:
            return level
        turn = days / TAUS_D
        turned = self._share * (turn / (1.0 + turn))
        pull = solubility * per_level
        level = (level + np.sum(turned * self._content, axis=1)) / (1.0 + pull * np.sum(turned, axis=1))
        self._content = (self._content + turn * (pull * level)[:, None]) / (1.0 + turn)
        return np.asarray(level)


def _steps(reduced_kpa: float, air_kpa: float, kappa: float, floor_kpa: float) -> Floats:
    """The times of the steps [h]."""
    over = max(reduced_kpa - air_kpa, floor_kpa)
    end_h = 24.0 * over / max(kappa, 1e-3) * np.log(over / floor_kpa + 1.0)
    even_h = float(np.clip(end_h / _STEPS_TO_END, _SHORTEST_EVEN_H, _LONGEST_EVEN_H))
    even = even_h * np.arange(_EVEN_STEPS + 1.0)
    return np.concatenate([even, np.geomspace(even[-1], max(_MOST_H, 2.0 * even[-1]), _LATER_STEPS + 1)[1:]])


def _warmth(hours: Floats, last_day_c: Floats, celsius: float) -> tuple[Floats, Floats]:
    """Temperatures by step and course [°C], and the coldest within each step: the last day's again, less its trend."""
    is_seen = len(last_day_c) > 1
    drift = _wander(hours, _DRIFT_K if is_seen else _UNSEEN_DAY_K, _DRIFT_D, _Z_WARMTH)
    if not is_seen:
        return celsius + drift, celsius + drift
    count = len(last_day_c)
    trend = celsius - float(last_day_c[0])
    day = last_day_c - trend * np.arange(count) / count
    phase = np.mod(hours, 24.0) / 24.0 * count
    usual = np.interp(phase, np.arange(count + 1.0), np.append(day, day[0])) + trend * np.exp(-hours / 24.0 / _DRIFT_D)
    usual[0] = celsius
    # A step of half a day or more meets the coldest hour.
    is_long = np.diff(hours, prepend=0.0) > 6.0
    mean, least = float(day.mean()), float(day.min())
    rest = trend * np.exp(-hours / 24.0 / _DRIFT_D)
    calm = np.where(is_long, mean + rest, usual)
    cold = np.where(is_long, least + rest, usual)
    return calm[:, None] + drift, cold[:, None] + drift


def _wander(hours: Floats, sd: float, constant_d: float, normal: Floats) -> Floats:
    """Courses that wander around 0 from 0 on, with a standard deviation and a time constant: (steps, courses)."""
    left = np.exp(-np.diff(hours) / 24.0 / constant_d)
    kick = sd * np.sqrt(1.0 - left * left)
    values = np.zeros((len(hours), normal.shape[1]))
    for step in range(1, len(hours)):
        values[step] = left[step - 1] * values[step - 1] + kick[step - 1] * normal[step]
    return values


def _draws() -> tuple[Floats, ...]:
    """Draws from the normal distribution that are always the same; two of them spread as evenly as a hundred can be."""
    random = np.random.default_rng(20)
    steps = _EVEN_STEPS + _LATER_STEPS + 1
    many = np.sort(random.standard_normal(COURSES * 400))
    quantiles = many.reshape(COURSES, 400).mean(axis=1)
    quantiles -= quantiles.mean()
    return (
        random.permutation(quantiles),
        random.permutation(quantiles),
        random.standard_normal((steps, COURSES)),
        random.standard_normal((steps, COURSES)),
    )


# Of the courses of each way, every other one.
_IS_BETWEEN: Final = np.arange(COURSES) % 2 == 1
_Z_LOSS, _Z_ZERO, _Z_WEATHER, _Z_WARMTH = _draws()
