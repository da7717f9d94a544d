"""How the gas over a wine goes on, against closed forms and by what must make it last longer or shorter."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.gas.air_floor import GasNow, hours_left
from alerts.gas.blanket import Filling
from alerts.gas.blanket_columns import T0_K, TAUS_D
from alerts.gas.blanket_facts import BlanketFacts, BlanketPoint
from alerts.gas.gas_ahead import COURSES, LossWays, hours_of_courses, ways_alike
from alerts.gas.gases import blanket_gas
from alerts.gas.wine_tables import wine_tables

AIR_KPA = 100.0
# At which a keg's reduced pressure is its dry pressure.
CELSIUS = T0_K - 273.15
FACTS = BlanketFacts(Filling(19.0, 17.0, 12.0, "steel"), blanket_gas("n2"))
STEADY = np.full(48, CELSIUS)


def dry(gauge_kpa: float, facts: BlanketFacts = FACTS) -> float:
    return gauge_kpa + AIR_KPA - float(wine_tables(facts.filling, facts.gas).vapour_at(np.array([CELSIUS]))[0])


def hours(ways: LossWays, gauge_kpa: float = 40.0, day: np.ndarray = STEADY, facts: BlanketFacts = FACTS) -> np.ndarray:
    return np.sort(hours_of_courses(dry(gauge_kpa, facts), AIR_KPA, ways, facts, day, float(day[0])))


def ways(kappa: float, u_kappa: float = 0.0, gauge_kpa: float = 40.0) -> LossWays:
    return ways_alike(kappa, u_kappa, 0.5, gauge_kpa)


def dissolving(held_kpa: float, tau: int, kappa: float = 48.0) -> LossWays:
    """All wine follows with one time constant, and holds what it would under so much of the blanket's gas."""
    two, share = ways(kappa), np.zeros((2, len(TAUS_D)))
    share[:, tau] = 1.0
    solubility = float(wine_tables(FACTS.filling, FACTS.gas).solubility_at(np.array([CELSIUS]))[0])
    return two._replace(share=share, content=np.full_like(share, solubility * held_kpa))


@pytest.mark.parametrize("kappa", [24.0, 96.0, 480.0])
def test_each_law_of_flow_ends_where_its_closed_form_does(kappa: float) -> None:
    over, floor, per_h = 40.0, FACTS.floor_kpa, kappa / 24.0
    # dp/dt = -kappa p/p0; through a hole the root of it; viscous: (P² - Pa²).
    linear = over / per_h * log(over / floor)
    hole = 2.0 * over**0.5 * (over**0.5 - floor**0.5) / per_h
    share = over * (floor + 2.0 * AIR_KPA) / ((over + 2.0 * AIR_KPA) * floor)
    viscous = over * (over + 2.0 * AIR_KPA) * log(share) / (2.0 * AIR_KPA * per_h)
    found = hours(ways(kappa))
    assert found[0] < hole < linear < viscous < found[-1]
    # The slowest path of all: half of the viscous courses, which end around its closed form.
    assert float(np.median(found[-COURSES // 4 :])) == pytest.approx(viscous, rel=0.15)
    assert float(np.median(found[: COURSES // 4])) == pytest.approx(hole, rel=0.15)


@given(kappa=st.floats(2.0, 500.0), u=st.floats(0.0, 0.3), gauge=st.floats(8.0, 60.0))
def test_a_less_certain_loss_gives_a_wider_range(kappa: float, u: float, gauge: float) -> None:
    sure = hours(ways(kappa, 0.0, gauge), gauge)
    unsure = hours(ways(kappa, u * kappa, gauge), gauge)
    assert np.all(sure > 0.0)
    assert unsure[1] <= sure[1] * 1.02
    assert unsure[-2] >= sure[-2] * 0.98


def test_the_same_readings_give_the_same_hours() -> None:
    assert np.array_equal(hours(ways(48.0, 5.0)), hours(ways(48.0, 5.0)))


def test_wine_that_holds_more_gas_makes_it_last_longer_and_wine_that_takes_it_up_shorter() -> None:
    alone = float(np.median(hours(ways(48.0))))
    rested = float(np.median(hours(dissolving(dry(40.0), 0))))
    fresh = float(np.median(hours(dissolving(0.0, 0))))
    assert fresh < alone < rested
    # Slowly enough, it does neither.
    assert float(np.median(hours(dissolving(0.0, len(TAUS_D) - 1)))) == pytest.approx(alone, rel=0.05)


def test_gas_that_dissolves_well_and_fast_stays_within_what_there_is() -> None:
    facts = replace(FACTS, gas=blanket_gas("co2"), filling=Filling(19.0, 18.5, 12.0, "steel"))
    share = np.zeros((2, len(TAUS_D)))
    share[:, 0] = 1.0
    solubility = float(wine_tables(facts.filling, facts.gas).solubility_at(np.array([CELSIUS]))[0])
    rested = ways(96.0)._replace(share=share, content=np.full_like(share, solubility * dry(40.0, facts)))
    fed, bare = hours(rested, facts=facts), hours(ways(96.0), facts=facts)
    assert np.median(fed) > 5.0 * np.median(bare)
    assert not np.isnan(fed).any()


def test_a_warm_day_ahead_gives_more_hours_than_a_cold_night() -> None:
    clock = np.arange(48) / 48.0 * 2.0 * np.pi
    warm, cold = CELSIUS + 3.0 * np.sin(clock), CELSIUS - 3.0 * np.sin(clock)
    assert np.median(hours(ways(480.0), day=warm)) > 1.05 * np.median(hours(ways(480.0), day=cold))


def test_without_a_loss_only_weather_and_cold_bring_the_gauge_down() -> None:
    still = hours(ways(1e-6))
    assert np.isinf(still).mean() > 0.9


def test_the_range_is_none_without_a_loss_and_zero_below_the_floor() -> None:
    gas = GasNow(dry(40.0), 0.5, AIR_KPA)
    calm = hours_left(gas, FACTS, None, STEADY, BlanketPoint(0, 40.0, CELSIUS), leak_certain=False)
    assert (calm.low, calm.high, calm.cold) == (None, None, None)
    low = hours_left(gas, FACTS, ways(48.0), STEADY, BlanketPoint(0, 4.0, CELSIUS), leak_certain=True)
    assert (low.low, low.high) == (0.0, 0.0)
    leaking = hours_left(gas, FACTS, ways(48.0), STEADY, BlanketPoint(0, 40.0, CELSIUS), leak_certain=True)
    assert leaking.low is not None
    assert leaking.high is not None
    assert leaking.low < leaking.high < 3.0 * leaking.low
