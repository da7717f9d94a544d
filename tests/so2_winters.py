"""Made-up winters of wines that lose free SO2: what was written down, and what was true.

Shares no code with alerts.wine. `Wines` is one wine, whose winter is written down, or very many, which weighted by the
likelihood of what was written down are the posterior of one who knows how the world works.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HOUR = 1.0 / 24.0
# A winter ends after so many days, and no crossing is looked for later than so many days ahead.
LENGTH = 190.0
HORIZON = 365.0
MOLECULAR_LIMIT = 0.5
PK = 1.81
# By what a blunder multiplies: weak or doubled titrant, a wrong flask, a misread label.
WRONG_FACTORS = (0.5, 0.6, 0.7, 0.8, 1.25, 1.4, 1.7, 2.0)
# Median loss at 30 mg/L and 15 degC [1/month], by kind of vessel, and the standard deviation of its logarithm.
KINDS = {"keg": 0.06, "carboy": 0.10, "barrel": 0.35}
LOSS_SPREAD = 0.6


@dataclass(frozen=True)
class World:
    """How wines, titrations and pH meters are.

    constant_loss: whether a part of each loss, any from none to all, does not depend on how much is free; q10: by what
    10 K multiply the loss, any of these; yield_drift: standard deviation of the change from one addition to the next;
    error_mg_l, error_share: standard deviation of a titration, combined as squares; blunders: their share;
    slow_binding: which part of what binds does so in binding_hours, the rest at once.
    """

    name: str
    constant_loss: bool
    q10: tuple[float, ...]
    yield_drift: float
    error_mg_l: float
    error_share: float
    blunders: float
    ph_error: float
    slow_binding: tuple[float, float]
    binding_hours: tuple[float, float]


PLAIN = World("plain", False, (1.0,), 0.0, 1.5, 0.0, 0.0, 0.0, (0.0, 0.0), (1.0, 1.0))
HARD = World("hard", True, (1.4, 1.6, 1.8, 2.0, 2.2), 0.07, 1.5, 0.05, 1.0 / 30.0, 0.05, (0.0, 0.7), (1.0, 8.0))
WORLDS = {world.name: world for world in (PLAIN, HARD)}


class Wines:
    """n wines of a world in one winter, each with a loss, a yield and a pH of its own. Time is in days."""

    def __init__(self, world: World, kind: str, temperatures: Floats, n: int, rng: np.random.Generator) -> None:
        self.world, self.day, self._rng = world, 0.0, rng
        self.free = rng.uniform(22.0, 45.0, n)
        rate = KINDS[kind] * np.exp(LOSS_SPREAD * rng.standard_normal(n))
        first_order = rng.uniform(0.0, 1.0, n) if world.constant_loss else np.ones(n)
        self._per_day = first_order * rate / 30.0
        self._mg_l_per_day = (1.0 - first_order) * rate
        self._q10 = rng.integers(0, len(world.q10), n)
        self._yield = np.clip(0.67 + 0.10 * rng.standard_normal(n), 0.3, 0.97)
        self._slow_binding = rng.uniform(*world.slow_binding, n)
        self._binding_hours = rng.uniform(*world.binding_hours, n)
        self._binding = np.zeros(n)
        self.ph = 3.35 + 0.1 * rng.standard_normal(n)
        pace = np.array([[q10 ** ((celsius - 15.0) / 10.0) for celsius in temperatures] for q10 in world.q10])
        self._aged = np.concatenate([np.zeros((len(world.q10), 1)), np.cumsum(pace, axis=1)], axis=1)

    def only(self, chosen: NDArray[np.intp]) -> Wines:
        """Take some of the wines, for a look ahead."""
        some = object.__new__(Wines)
        some.__dict__ |= self.__dict__
        for name in ("free", "ph", "_per_day", "_mg_l_per_day", "_q10", "_binding"):
            setattr(some, name, getattr(self, name)[chosen])
        return some

    def _aged_between(self, start: float, end: Floats | float) -> Floats:
        """Days at 15 degC that make up the days between two."""
        days = np.arange(self._aged.shape[1])
        aged = np.zeros(len(self._q10))
        for number in np.unique(self._q10):
            mine, row = self._q10 == number, self._aged[number]
            until = end[mine] if isinstance(end, np.ndarray) else end
            aged[mine] = np.interp(until, days, row) - np.interp(start, days, row)
        return aged

    def _after(self, aged: Floats) -> Floats:
        left = np.exp(-self._per_day * aged)
        constant = np.where(self._per_day > 1e-9, (1.0 - left) / np.maximum(self._per_day, 1e-9), aged)
        return np.asarray(np.maximum(self.free * left - self._mg_l_per_day * constant, 0.0))

    def rest(self, until: float) -> None:
        """Let time pass to a day."""
        self.free = self._after(self._aged_between(self.day, until))
        self._binding = self._binding * np.exp(-(until - self.day) / HOUR / self._binding_hours)
        self.day = until

    @property
    def present(self) -> Floats:
        """Free SO2 now, with what is still going to bind."""
        return np.asarray(self.free + self._binding)

    def add(self, mg_l: float) -> None:
        """Add SO2."""
        drift = self.world.yield_drift * self._rng.standard_normal(len(self.free))
        self._yield = np.clip(self._yield + drift, 0.2, 1.0)
        self.free = self.free + mg_l * self._yield
        self._binding = self._binding + mg_l * (1.0 - self._yield) * self._slow_binding

    @property
    def limit(self) -> Floats:
        """Free SO2 that is the molecular limit."""
        return np.asarray(MOLECULAR_LIMIT * (1.0 + 10.0 ** (self.ph - PK)))

    def error(self) -> Floats:
        """Standard deviation of a titration that is no blunder."""
        return np.hypot(self.world.error_mg_l, self.world.error_share * self.present)

    def log_likelihood(self, found: float) -> Floats:
        """Of a titration's result, by the world's own rules."""
        likelihood = (1.0 - self.world.blunders) * _density(found, self.present, self.error())
        if self.world.blunders > 0.0:
            wrong = [_density(found, self.present * factor, self.error() * factor) for factor in WRONG_FACTORS]
            likelihood = likelihood + self.world.blunders * np.mean(wrong, axis=0)
        return np.asarray(np.log(likelihood + 1e-300))

    def days_to_crossing(self) -> Floats:
        """Days until each is below its limit if nothing is done, at most the horizon."""
        low, high = np.zeros(len(self.free)), np.full(len(self.free), HORIZON)
        for _ in range(20):
            middle = (low + high) / 2.0
            below = self._after(self._aged_between(self.day, self.day + middle)) < self.limit
            low, high = np.where(below, low, middle), np.where(below, middle, high)
        return np.where(self.free < self.limit, 0.0, np.where(high > HORIZON - 0.01, HORIZON, high))


def _density(x: float, mean: Floats, sd: Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * ((x - mean) / sd) ** 2) / sd)


class Act(NamedTuple):
    """A titration with what it found, or an addition [mg/L], on a day."""

    day: float
    found: float | None = None
    added: float | None = None


class Asking(NamedTuple):
    """A moment at which an estimate is asked for, with the truth: free SO2 [mg/L], days to the crossing."""

    what: str
    day: float
    free: float
    crossing: float


@dataclass(frozen=True)
class Winter:
    """What was written down in a winter, and what is asked of it."""

    world: World
    kind: str
    temperatures: Floats
    ph_found: float
    acts: tuple[Act, ...] = ()
    asked: tuple[Asking, ...] = field(default=(), repr=False)


def made_up(world: World, seed: int) -> Winter:
    """Make up a winter: a titration every two to five weeks, an addition when the wine comes near its limit."""
    rng = np.random.default_rng([seed, len(world.name)])
    kind = str(rng.choice(list(KINDS)))
    days = np.arange(LENGTH + HORIZON + 5.0)
    temperatures = 13.0 + rng.uniform(2.0, 5.0) * np.cos(2.0 * np.pi * (days + rng.uniform(20.0, 50.0)) / 365.0)
    temperatures += 0.5 * rng.standard_normal(len(days))
    wine = Wines(world, kind, temperatures, 1, rng)
    ph_found = float(wine.ph[0] + world.ph_error * rng.standard_normal())
    acts: list[Act] = []
    asked: list[Asking] = []

    def ask(what: str, day: float) -> None:
        wine.rest(day)
        crossing = float(wine.days_to_crossing()[0])
        asked.append(Asking(what, day, float(wine.present[0]), crossing))

    limit = MOLECULAR_LIMIT * (1.0 + 10.0 ** (ph_found - PK))
    titrations, since_addition = 0, -1
    earliest, day = 0.0, float(rng.uniform(0.1, 3.0))
    while day < LENGTH:
        if titrations > 1:
            ask("between titrations", float(rng.uniform(earliest + 0.1, day - 0.1)))
            ask("just before one", day - HOUR)
        wine.rest(day)
        blunder = rng.uniform() < world.blunders
        factor = float(rng.choice(WRONG_FACTORS)) if blunder else 1.0
        found = max(float(wine.present[0] + wine.error()[0] * rng.standard_normal()) * factor, 0.0)
        acts.append(Act(day, found=found))
        titrations += 1
        if titrations > 1:
            ask("right after a blunder" if blunder else "right after one", day + HOUR)
        since_addition += since_addition >= 0
        if since_addition == 3:
            ask("third after an addition", day + HOUR)
        earliest, again = day + 2.0 * HOUR, False
        if (found < limit + 5.0 or titrations == 2) and (since_addition < 0 or since_addition >= 3):
            added = max((limit + float(rng.uniform(8.0, 18.0)) - found) / 0.67, 6.0)
            wine.rest(earliest)
            wine.add(added)
            acts.append(Act(earliest, added=added))
            since_addition = 0
            ask("day of an addition", earliest + float(rng.uniform(0.02, 1.0)))
            earliest, again = earliest + 1.0, bool(rng.uniform() < 0.5)
        day = max(day + float(rng.uniform(2.0, 5.0) if again else rng.uniform(14.0, 35.0)), earliest + 0.5)
    return Winter(world, kind, temperatures, ph_found, tuple(acts), tuple(asked))


class Answer(NamedTuple):
    """Low end, median, high end (80 %) of free SO2 and of the days to the crossing; days to the titration due."""

    free: tuple[float, float, float]
    crossing: tuple[float, float, float]
    titrate_in: float


class ByBruteForce(NamedTuple):
    """An answer of very many wines, and how many of them count: the effective sample size."""

    asked: Asking
    answer: Answer
    effective: float


def by_brute_force(winter: Winter, wines: int, seed: int, *, looked_at: int = 4000) -> list[ByBruteForce]:
    """Answer what is asked of a winter by importance sampling, with the likelihood and the prior of its own world.

    wines: how many are drawn; looked_at: how many of them, drawn again by weight, make up an answer.
    """
    world, rng = winter.world, np.random.default_rng([seed, 1])
    bank = Wines(world, winter.kind, winter.temperatures, wines, rng)
    if world.ph_error > 0.0:
        log_weight = -0.5 * ((winter.ph_found - bank.ph) / world.ph_error) ** 2
    else:
        bank.ph, log_weight = np.full(wines, winter.ph_found), np.zeros(wines)
    answers = []
    events: list[Act | Asking] = [*winter.acts, *winter.asked]
    for event in sorted(events, key=lambda each: each.day):
        bank.rest(event.day)
        if isinstance(event, Asking):
            weight = np.exp(log_weight - log_weight.max())
            below = np.cumsum(weight / weight.sum())
            # Systematic resampling: as even as can be.
            chosen = np.searchsorted(below, (np.arange(looked_at) + rng.uniform()) / looked_at).clip(max=wines - 1)
            some = bank.only(chosen)
            crossing = some.days_to_crossing()
            answer = Answer(_ends(some.present), _ends(crossing), float(np.quantile(crossing, 0.05)))
            answers.append(ByBruteForce(event, answer, float(weight.sum() ** 2 / (weight**2).sum())))
        elif event.found is not None:
            log_weight = log_weight + bank.log_likelihood(event.found)
        elif event.added is not None:
            bank.add(event.added)
    return answers


def _ends(values: Floats) -> tuple[float, float, float]:
    low, median, high = np.quantile(values, (0.1, 0.5, 0.9))
    return float(low), float(median), float(high)
