"""Simulated vessels: cooling, settling, leaking, conservation."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.simulation.physics import GLASS_EXPANSION, leak_conductance
from ingest.simulation.vessel import Airlock, SimulatedVessel

SEA_LEVEL = 101.325


def keg(headspace_l: float, wine_c: float, *, surface: float = 0.0, saturation: float = 1.0) -> SimulatedVessel:
    """A 19 L steel keg at 55 kPa gauge at sea level with a headspace as measured at 20 °C."""
    vessel = SimulatedVessel(
        "K", capacity_l=19.0, wine_20c_l=19.0 - headspace_l, wine_c=wine_c, surface_m_per_s=surface
    )
    vessel.fill(55.0, SEA_LEVEL, saturation=saturation)
    return vessel


# Worked from the formulas that physics.py cites, independently of this code; nitrogen, 12 % vol, kPa gauge.
@pytest.mark.parametrize(
    ("headspace_l", "frozen", "settled"), [(0.5, 40.1, 36.1), (2.0, 46.4, 44.2), (10.0, 48.2, 47.9)]
)
def test_cooling_from_20_to_10_degrees(headspace_l: float, frozen: float, settled: float) -> None:
    tight = keg(headspace_l, 20.0)
    tight.step(1e9, 10.0, SEA_LEVEL)
    assert tight.wine_c == pytest.approx(10.0)
    assert tight.pressure_kpa == pytest.approx(frozen, abs=0.15)
    stirred = keg(headspace_l, 20.0, surface=1e-3)
    stirred.step(1e9, 10.0, SEA_LEVEL)
    assert stirred.pressure_kpa == pytest.approx(settled, abs=0.2)


@pytest.mark.parametrize(
    ("wine_c", "headspace_l", "slope"),
    [(5.0, 0.5, 0.81), (5.0, 2.0, 0.67), (15.0, 0.5, 1.58), (15.0, 2.0, 0.88), (15.0, 10.0, 0.69), (20.0, 0.5, 1.93)],
)
def test_pressure_per_kelvin_with_nothing_dissolving(wine_c: float, headspace_l: float, slope: float) -> None:
    # The headspace is as large as named at this temperature.
    vessel = keg(headspace_l, wine_c)
    vessel.wine_20c_l *= 1.0 + (vessel.headspace_l - headspace_l) / vessel.wine_l
    vessel.fill(55.0, SEA_LEVEL, saturation=1.0)
    vessel.step(1e9, wine_c + 0.25, SEA_LEVEL)
    warm = vessel.pressure_kpa
    vessel.step(1e9, wine_c - 0.25, SEA_LEVEL)
    assert (warm - vessel.pressure_kpa) / 0.5 == pytest.approx(slope, abs=0.02)


@pytest.mark.parametrize(("headspace_l", "end"), [(0.5, -0.2), (2.0, 37.5), (10.0, 52.9)])
def test_gas_free_wine_takes_the_blanket(headspace_l: float, end: float) -> None:
    vessel = keg(headspace_l, 20.0, surface=1e-6, saturation=0.0)
    vessel.step(1e9, 20.0, SEA_LEVEL)
    assert vessel.pressure_kpa == pytest.approx(end, abs=0.2)


def test_settling_takes_days() -> None:
    # At 1e-6 m/s the published time constants are 4.0, 5.0 and 3.0 days for 0.5, 2 and 10 L.
    for headspace_l, days, end in ((0.5, 4.0, -0.2), (2.0, 5.0, 37.5), (10.0, 3.0, 52.9)):
        vessel = keg(headspace_l, 20.0, surface=1e-6, saturation=0.0)
        vessel.step(days * 86_400.0, 20.0, SEA_LEVEL)
        assert (vessel.pressure_kpa - end) / (55.0 - end) == pytest.approx(0.37, abs=0.04)


def test_a_gauge_follows_the_barometer_one_to_one() -> None:
    vessel = keg(2.0, 15.0)
    vessel.step(60.0, 15.0, SEA_LEVEL - 3.0)
    assert vessel.pressure_kpa == pytest.approx(58.0)


def test_wine_lags_the_room_by_six_hours() -> None:
    vessel = keg(2.0, 20.0)
    vessel.step(6 * 3600.0, 10.0, SEA_LEVEL)
    assert vessel.wine_c == pytest.approx(10.0 + 10.0 / 2.718281828)
    assert vessel.gas_c < vessel.wine_c


def test_a_leak_empties_in_its_time_whatever_the_step() -> None:
    for steps in (1, 100):
        vessel = keg(1.2, 15.0)
        vessel.leak = leak_conductance(
            from_kpa=55.0, to_kpa=5.0, within_s=25.0, headspace_l=vessel.headspace_l, gas_c=15.0
        )
        for _ in range(steps):
            vessel.step(25.0 / steps, 15.0, SEA_LEVEL)
        assert vessel.pressure_kpa == pytest.approx(5.0, abs=0.01)
        vessel.step(1e6, 15.0, SEA_LEVEL)
        assert vessel.pressure_kpa == pytest.approx(0.0, abs=1e-9)


@given(
    st.lists(st.tuples(st.floats(0.1, 1e5), st.floats(5.0, 25.0), st.floats(95.0, 103.0)), max_size=20),
    st.floats(0.0, 1e-4),
    st.floats(0.0, 1e-5),
    st.floats(0.0, 0.1),
)
def test_gas_is_never_made_nor_lost(
    path: list[tuple[float, float, float]], leak: float, surface: float, charge: float
) -> None:
    vessel = keg(1.0, 15.0, surface=surface, saturation=0.5)
    vessel.leak = leak
    before = vessel.head_mol + vessel.dissolved_mol
    vessel.charge(charge)
    vessel.draw(0.7)
    for elapsed_s, room_c, station_kpa in path:
        vessel.step(elapsed_s, room_c, station_kpa)
    after = vessel.head_mol + vessel.dissolved_mol + vessel.escaped_mol - vessel.charged_mol
    assert after == pytest.approx(before, abs=1e-9)
    assert vessel.head_mol > 0.0
    assert vessel.dissolved_mol >= 0.0


def test_an_airlock_keeps_glass_near_nothing() -> None:
    carboy = SimulatedVessel(
        "C",
        capacity_l=23.0,
        wine_20c_l=22.9,
        wine_c=18.0,
        wall_expansion=GLASS_EXPANSION,
        surface_m_per_s=0.0,
        release_mol_per_s=4e-8,
        airlock=Airlock(),
    )
    carboy.fill(0.2, SEA_LEVEL, saturation=0.0)
    seen = []
    for minute in range(2000):
        carboy.step(60.0, 18.0 + (minute % 500) / 500.0, SEA_LEVEL)
        seen.append(carboy.pressure_kpa)
    assert min(seen) > -0.251
    assert max(seen) < 0.251
    assert carboy.escaped_mol > 0.0
    escaped_mol = carboy.escaped_mol
    for _ in range(300):  # a cold night draws the room's air in
        carboy.step(60.0, 8.0, SEA_LEVEL)
        assert -0.251 < carboy.pressure_kpa < 0.251
    assert carboy.escaped_mol < escaped_mol


def test_a_blocked_airlock_is_a_pressure_source() -> None:
    # 23 L glass sealed at 18 °C and warmed by 1, 3 and 5 K: 6, 20 and 41 kPa over 100 mL of gas.
    for rise, kpa in ((1.0, 6.0), (3.0, 20.0), (5.0, 41.0)):
        carboy = SimulatedVessel(
            "C", capacity_l=23.0, wine_20c_l=22.9, wine_c=18.0, wall_expansion=GLASS_EXPANSION, surface_m_per_s=0.0
        )
        carboy.wine_20c_l += (carboy.headspace_l - 0.1) / (carboy.wine_l / carboy.wine_20c_l)
        carboy.fill(0.0, SEA_LEVEL, saturation=0.0)
        carboy.step(1e9, 18.0 + rise, SEA_LEVEL)
        assert carboy.pressure_kpa == pytest.approx(kpa, abs=1.0)


def test_a_brimful_vessel_and_too_big_a_glass_are_refused() -> None:
    full = SimulatedVessel("K", capacity_l=19.0, wine_20c_l=19.0, wine_c=20.0)
    with pytest.raises(ValueError, match="leave it a headspace"):
        full.step(1e9, 25.0, SEA_LEVEL)
    with pytest.raises(ValueError, match="draw less"):
        keg(2.0, 15.0).draw(18.0)
