"""The weather by what several gauges show alike: how close it comes, how sure it is said to be, and what it is not."""

from __future__ import annotations

import numpy as np
import pytest

from alerts.gas.blanket_noise import NoiseSizes
from alerts.gas.common_air import AirWitness, CommonAir, common_air
from alerts.gas.wine_tables import Floats

DAY_MS = 86_400_000.0
# By the hour for five days.
AT_MS = 1.7e12 + np.arange(0.0, 5.0, 1.0 / 24.0) * DAY_MS
DAYS = (AT_MS - AT_MS[0]) / DAY_MS
HIDDEN_KPA = 1.5 * np.sin(2.0 * np.pi * DAYS / 3.7)


def witness(kpa: Floats, noise_kpa: float = 0.05, seed: int = 0, at_ms: Floats = AT_MS) -> AirWitness:
    """A gauge that shows this, from a zero of its own."""
    random = np.random.default_rng(seed)
    shown = kpa + random.normal(0.0, noise_kpa, len(kpa)) + 10.0 * random.random()
    return AirWitness(at_ms, shown, np.zeros((len(kpa), 1)), NoiseSizes(noise_kpa, 0.05, 0.02, np.zeros(len(kpa))))


def known(*witnesses: AirWitness) -> CommonAir:
    air = common_air(witnesses, AT_MS)
    assert air is not None
    return air


def off(air: CommonAir) -> Floats:
    """How far it is from the hidden weather, from the zero of the newest."""
    return np.asarray((air.kpa - air.kpa[-1]) - (HIDDEN_KPA - HIDDEN_KPA[-1]))


def u_since(air: CommonAir) -> Floats:
    """The standard uncertainty of the change since each time."""
    variance = np.diag(air.cov) + air.cov[-1, -1] - 2.0 * air.cov[-1]
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))


@pytest.mark.parametrize("count", [2, 3, 7])
def test_gauges_that_move_alike_show_the_weather(count: int) -> None:
    air = known(*(witness(HIDDEN_KPA, seed=seed) for seed in range(count)))
    assert air.witnesses == count
    assert np.abs(off(air)).max() < 0.3
    assert (np.abs(off(air))[:-1] < 4.0 * u_since(air)[:-1]).all()
    # Far better than without: the weather changes by 1 kPa a day.
    assert air.u_day_kpa < 0.4


def test_more_gauges_know_it_better() -> None:
    few, many = (known(*(witness(HIDDEN_KPA, seed=seed) for seed in range(count))) for count in (2, 8))
    assert many.u_day_kpa < few.u_day_kpa


def test_one_gauge_alone_shows_nothing() -> None:
    assert common_air([witness(HIDDEN_KPA)], AT_MS) is None
    assert common_air([], AT_MS) is None


@pytest.mark.parametrize("count", [2, 3, 7])
@pytest.mark.parametrize("kpa_day", [1.5, -1.5])
def test_one_that_loses_or_gains_makes_it_unsure_and_not_wrong(count: int, kpa_day: float) -> None:
    others = [witness(HIDDEN_KPA, seed=seed) for seed in range(1, count)]
    air = known(witness(HIDDEN_KPA + kpa_day * DAYS), *others)
    assert (np.abs(off(air))[:-1] < 2.0 * u_since(air)[:-1]).all()


def test_what_is_faster_than_weather_is_not_taken_for_it() -> None:
    # Half a day ago all lost 6 kPa within an hour: an open valve, not a storm.
    shared = HIDDEN_KPA + 6.0 * (DAYS[-1] - 0.6 < DAYS)
    air = known(*(witness(shared, seed=seed) for seed in range(4)))
    before = int(np.searchsorted(DAYS, DAYS[-1] - 1.2))
    assert u_since(air)[before] > 0.5
    assert abs(off(air)[before]) < 3.0 * u_since(air)[before]
    assert np.abs(off(air)[DAYS[-1] - 0.6 < DAYS]).max() < 0.3


def test_what_goes_on_for_longer_than_weather_is_not_taken_for_it() -> None:
    air = known(*(witness(HIDDEN_KPA + 4.0 * DAYS, seed=seed) for seed in range(4)))
    # At 4 kPa a day 20 kPa would be gone; no weather is that far from its mean.
    assert abs(air.kpa[-1] - air.kpa[0]) < 9.0


def test_a_gauge_that_fell_silent_or_has_just_begun_is_left_out() -> None:
    silent = AT_MS[-1] - 0.1 * DAY_MS > AT_MS
    young = AT_MS[-1] - 0.5 * DAY_MS < AT_MS
    both = [witness(HIDDEN_KPA[kept], seed=9, at_ms=AT_MS[kept]) for kept in (silent, young)]
    fit = [witness(HIDDEN_KPA, seed=seed) for seed in range(2)]
    assert known(*fit, *both).witnesses == 2
    assert common_air([fit[0], *both], AT_MS) is None


def test_what_no_gauge_covers_is_as_uncertain_as_the_weather() -> None:
    part = AT_MS[-1] - 3.5 * DAY_MS < AT_MS
    air = known(*(witness(HIDDEN_KPA[part], seed=seed, at_ms=AT_MS[part]) for seed in range(3)))
    assert u_since(air)[0] > 0.5
    assert u_since(air)[len(AT_MS) // 2] < 0.4
