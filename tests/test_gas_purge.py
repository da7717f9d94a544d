"""Purging: worked examples, and properties of sweep and vent."""

from __future__ import annotations

from math import exp

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.errors import OutOfRange
from alerts.gas.purge import AIR_O2_PERCENT, PurgeTarget, purge_by_sweep, purge_by_vent

highs = st.floats(5.0, 500.0)
headspaces = st.floats(0.1, 1000.0)


def test_air_before_anything_is_done() -> None:
    """Half a litre of air holds 139 mg oxygen at 20 °C, which is 7.5 mg per litre of 18.5 L."""
    worked = purge_by_vent(
        "keg", 0.5, PurgeTarget(cycles=0.0), high_kpa=55.0, stamp_kpa=200.0, wine_l=18.5, temperature_c=20.0
    )
    assert worked.o2_percent == AIR_O2_PERCENT
    assert worked.o2_mg_l == pytest.approx(7.53, abs=0.01)
    assert worked.gas_l == 0.0


@given(
    headspace_l=headspaces,
    high=highs,
    target=st.floats(0.01, 20.0),
    supply=st.sampled_from([0.0, 0.001]),
    barometer=st.floats(70.0, 105.0),
)
def test_no_cycle_too_few_and_none_too_many(
    headspace_l: float, high: float, target: float, supply: float, barometer: float
) -> None:
    def vent(wanted: PurgeTarget) -> tuple[float, float]:
        worked = purge_by_vent(
            "tank",
            headspace_l,
            wanted,
            high_kpa=high,
            stamp_kpa=500.0,
            barometer_kpa=barometer,
            supply_o2_percent=supply,
        )
        return worked.cycles, worked.o2_percent

    cycles, left = vent(PurgeTarget(o2_percent=target))
    assert cycles == int(cycles)
    assert left <= target * (1.0 + 1e-6)
    assert vent(PurgeTarget(cycles=cycles - 1.0))[1] > target


@given(headspace_l=headspaces, high=highs, cycles=st.integers(1, 30))
def test_a_sweep_with_the_same_gas_leaves_less(headspace_l: float, high: float, cycles: int) -> None:
    vent = purge_by_vent("keg", headspace_l, PurgeTarget(cycles=float(cycles)), high_kpa=high, stamp_kpa=500.0)
    sweep = purge_by_sweep("keg", headspace_l, PurgeTarget(cycles=vent.gas_l / headspace_l))
    assert sweep.gas_l == pytest.approx(vent.gas_l)
    assert sweep.o2_percent <= vent.o2_percent


@given(volumes=st.floats(0.0, 20.0), supply=st.floats(0.0, 1.0))
def test_a_sweep_and_its_target_go_round(volumes: float, supply: float) -> None:
    worked = purge_by_sweep("barrel", 225.0, PurgeTarget(cycles=volumes), supply_o2_percent=supply, wine_l=200.0)
    assert worked.o2_percent == pytest.approx(supply + (AIR_O2_PERCENT - supply) * exp(-volumes))
    if worked.o2_percent > supply + 1e-4:
        back = purge_by_sweep("barrel", 225.0, PurgeTarget(o2_percent=worked.o2_percent), supply_o2_percent=supply)
        assert back.cycles == pytest.approx(volumes, abs=1e-5)


def test_a_target_that_nothing_was_given_for() -> None:
    with pytest.raises(OutOfRange, match="target oxygen"):
        purge_by_sweep("keg", 2.0, PurgeTarget())


# ---- worked examples of Crowl and Louvar, Chemical Process Safety, chapter 7 (from memory, reworked) -----------------

PSI = 6.894757
GALLON_L = 3.785412
LB_MOL = 453.59237


def test_pressure_purging_of_a_thousand_gallons() -> None:
    """To 1 ppm oxygen with nitrogen of 80 psig at 75 °F: ln(1e-6/0.21) / ln(14.7/94.7) = 6.6, so 7 purges.

    They take 7 (94.7 - 14.7) psi 133.7 ft³ / (10.73 x 535 °R) = 13.0 lb-mol of nitrogen.
    """
    worked = purge_by_vent(
        "tank",
        1000.0 * GALLON_L,
        PurgeTarget(o2_percent=1e-4),
        high_kpa=80.0 * PSI,
        stamp_kpa=600.0,
        barometer_kpa=14.7 * PSI,
        temperature_c=(75.0 - 32.0) / 1.8,
    )
    assert worked.cycles == 7
    assert worked.gas_l / 23.645 / LB_MOL == pytest.approx(13.0, abs=0.1)


def test_sweeping_a_thousand_cubic_feet_with_impure_nitrogen() -> None:
    """From air of 21 % to 1.25 % with nitrogen that has 0.01 %: 1000 ln((21 - 0.01) / (1.25 - 0.01)) = 2830 ft³."""
    cubic_foot_l = 28.316847
    worked = purge_by_sweep(
        "tank", 1000.0 * cubic_foot_l, PurgeTarget(o2_percent=1.25), supply_o2_percent=0.01, temperature_c=15.0
    )
    assert worked.gas_l / cubic_foot_l == pytest.approx(2830.0, rel=2e-3)
