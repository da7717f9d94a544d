"""Many simulated kegs at once: the same physics as one vessel, handbook numbers, and amounts that are kept."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from math import pi, sqrt
from typing import Literal

import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.simulation.keg_trials import leak_laws
from ingest.simulation.keg_trials.array_physics import gas_in_wine
from ingest.simulation.keg_trials.draw_kegs import KegKind, draw_kegs
from ingest.simulation.keg_trials.keg import Charge, KegAir, KegProbes, Leak, Moved, TrialKeg, Vent, WineDrawn
from ingest.simulation.keg_trials.readings import read, write_csv
from ingest.simulation.keg_trials.world import KegWorld, keg_truths
from ingest.simulation.physics import BORE_M2, GAS_CONSTANT, ZERO_C
from ingest.simulation.vessel import SimulatedVessel

DAY_S = 86_400.0
N2_OF_AIR = (76.8, 0.0, 0.0)


def calm_keg(headspace_l: float, **changes: object) -> TrialKeg:
    """A keg with 55 kPa of nitrogen at 20 °C in an even room."""
    keg = TrialKeg(seed=1, wine_l=19.0 - headspace_l, believed_wine_l=19.0 - headspace_l, air=KegAir(mean_c=20.0))
    return replace(keg, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("headspace_l", [0.5, 2.0, 10.0])
@pytest.mark.parametrize("surface", [1e-7, 1e-5])
def test_agrees_with_a_single_vessel(headspace_l: float, surface: float) -> None:
    air = KegAir(mean_c=14.0, swing_k=6.0, drift_k=0.7, weather_kpa=1.2)
    keg = calm_keg(headspace_l, air=air, surface_m_per_s=surface, wine_holds_kpa=N2_OF_AIR, gas_lag_s=0.0)
    truths = keg_truths([keg, keg], 3.0)
    start_c = float(truths.wine_c[0, 0])
    vessel = SimulatedVessel("K", 19.0, 19.0 - headspace_l, wine_c=start_c, surface_m_per_s=surface)
    vessel.gas_c = float(truths.gas_c[0, 0])
    vessel.fill(55.0, float(truths.station_kpa[0, 0]), saturation=1.0)
    vessel.dissolved_mol = float(gas_in_wine(np.array([start_c]), np.array([0.9]))[0, 0]) * 76.8 * vessel.wine_l
    for room_c, station, gauge in zip(
        truths.room_c[1:, 0].tolist(), truths.station_kpa[1:, 0].tolist(), truths.gauge_kpa[1:, 0].tolist(), strict=True
    ):
        vessel.step(60.0, room_c, station)
        assert vessel.pressure_kpa == pytest.approx(gauge, abs=2e-3)


# Worked from IAPWS G7-04 with a wine factor of 0.90, OIML R 22 and the vapour over wine, independently of this code:
# the gauge after 55 kPa at 20 °C has come to equilibrium with the wine.
@pytest.mark.parametrize(
    ("gas", "held", "ends"),
    [
        ("n2", (0.0, 0.0, 0.0), (-0.2, 37.5, 52.9)),
        ("n2", N2_OF_AIR, (27.4, 46.2, 54.0)),
        ("n2", (98.3, 0.0, 0.0), (35.2, 48.7, 54.3)),
        ("ar", (0.0, 0.0, 0.0), (-29.5, 21.3, 50.6)),
        ("ar", N2_OF_AIR, (-1.9, 30.1, 51.6)),
        ("co2", (0.0, 0.0, 0.0), (-93.0, -78.0, -9.0)),
        ("co2", (0.0, 0.0, 0.0, 153.5), (55.0, 55.0, 55.0)),
    ],
)
def test_where_settling_ends(gas: str, held: tuple[float, ...], ends: tuple[float, float, float]) -> None:
    kegs = [
        calm_keg(headspace_l, gas=gas, wine_holds_kpa=held, surface_m_per_s=1e-4) for headspace_l in (0.5, 2.0, 10.0)
    ]
    truths = keg_truths(kegs, 2.0)
    assert truths.gauge_kpa[-1] == pytest.approx(ends, abs=1.0 if gas == "co2" else 0.25)


def test_still_wine_takes_gas_as_the_root_of_time() -> None:
    # Crank, The Mathematics of Diffusion (1975): 2 A dc sqrt(D t / pi) into a deep still liquid.
    kegs = [calm_keg(headspace_l, wine_holds_kpa=N2_OF_AIR, surface_m_per_s=None) for headspace_l in (2.0, 10.0)]
    truths = keg_truths(kegs, 7.0, step_s=300.0)
    soluble = float(gas_in_wine(np.array([20.0]), np.array([0.9]))[0, 0]) * 1000.0
    for column, headspace_l in enumerate((2.0, 10.0)):
        for hours in (6, 24, 72, 168):
            fall = truths.gauge_kpa[0, column] - truths.gauge_kpa[hours * 12, column]
            mol = 2.0 * BORE_M2 * soluble * 76.5 * sqrt(1.2e-9 * hours * 3600.0 / pi)
            assert fall == pytest.approx(mol * GAS_CONSTANT * (20.0 + ZERO_C) / headspace_l, rel=0.08)


# A finite-volume solution of the diffusion equation made for another program: 0.5 L, air-saturated, 20 °C, kPa.
def test_still_wine_over_weeks() -> None:
    truths = keg_truths([calm_keg(0.5, wine_holds_kpa=N2_OF_AIR, surface_m_per_s=None)], 14.0, step_s=300.0)
    for days, fall in ((0.25, 0.47), (1.0, 0.94), (3.0, 1.6), (7.0, 2.4), (14.0, 3.4)):
        assert 55.0 - truths.gauge_kpa[round(days * 288), 0] == pytest.approx(fall, rel=0.06)


def test_leaks_fall_as_their_laws_say() -> None:
    # 1 mL/min at first out of 2 L: 32 h from 55 to 10 kPa by the viscous law, 29 h by the linear one, worked by hand
    # from their closed forms; 1 mL/min is 44.6 µmol.
    assert leak_laws.coefficient_by_time("linear", 156.325, 101.325, 111.325, 3600.0) == pytest.approx(
        np.log(5.5) / 3600.0
    )
    first_kpa_s = (1.0 / 22_413.97 / 60.0) * GAS_CONSTANT * 293.15 / 2.0
    for law, hours in (("viscous", 32.0), ("linear", 29.0)):
        k = leak_laws.coefficient_by_loss(law, 156.325, 101.325, first_kpa_s)
        assert leak_laws.after(law, np.array([156.325]), np.array([101.325]), np.array([k]), hours * 3600.0) == (
            pytest.approx(111.325, abs=0.6)
        )


def test_a_hole_chokes_as_a_compressible_fluid_does() -> None:
    # CoolProp's real nitrogen, expanded at constant entropy to the throat pressure at which the flow is greatest.
    pressure, celsius = 250e3, 15.0
    entropy = coolprop.PropsSI("S", "P", pressure, "T", celsius + ZERO_C, "Nitrogen")
    enthalpy = coolprop.PropsSI("H", "P", pressure, "T", celsius + ZERO_C, "Nitrogen")

    def flow(throat_pa: float) -> float:
        density = coolprop.PropsSI("D", "P", throat_pa, "S", entropy, "Nitrogen")
        speed = sqrt(2.0 * (enthalpy - coolprop.PropsSI("H", "P", throat_pa, "S", entropy, "Nitrogen")))
        return float(density * speed)

    choked = max(flow(pressure * share) for share in np.linspace(0.4, 0.7, 61))
    for ratio in (0.6, 0.75, 0.9, 0.97):
        inside, outside = np.array([250.0]), np.array([250.0 * ratio])
        share = float(leak_laws.driving("orifice", inside, outside)[0]) / 250.0
        assert share == pytest.approx(flow(pressure * ratio) / choked, abs=2e-3)


@pytest.mark.parametrize("law", leak_laws.LAWS)
def test_a_leak_reaches_the_floor_when_it_says(law: str) -> None:
    keg = calm_keg(2.0, surface_m_per_s=0.0, leak=Leak(3600.0, law, floor_in_h=12.0))  # type: ignore[arg-type]
    truths = keg_truths([keg], 1.0)
    assert truths.gauge_kpa[13 * 60, 0] == pytest.approx(5.0, abs=0.1)
    assert truths.rate_ml_min[:59].max() == 0.0
    # The reported rate, added up, is the gas that went.
    lost_ml = float(truths.rate_ml_min[: 13 * 60 + 1, 0].sum())
    space_l = 2.0
    mol = 50.0 * space_l / (GAS_CONSTANT * 293.15)
    assert lost_ml == pytest.approx(22_413.97 * mol, rel=0.005)


def test_drawing_halves_the_gauge() -> None:
    # 100 mL out of half a litre: (156.3 - 3.0) 0.5 / 0.6 + 3.0 - 101.3 kPa.
    keg = calm_keg(0.5, surface_m_per_s=0.0, happenings=(WineDrawn(3600.0, 0.1),))
    truths = keg_truths([keg], 0.2)
    assert truths.gauge_kpa[59, 0] == pytest.approx(55.0, abs=0.01)
    assert truths.gauge_kpa[-1, 0] == pytest.approx(29.4, abs=0.2)
    assert truths.headspace_l[-1, 0] == pytest.approx(0.6, abs=0.001)


def test_hands_change_the_gauge_by_what_they_do() -> None:
    happenings = (Vent(3600.0, 3.0), Charge(7200.0, 40.0), Charge(10_800.0, 60.0), Charge(14_400.0, 70.0, 50.0))
    gauge = keg_truths([calm_keg(2.0, surface_m_per_s=0.0, happenings=happenings)], 0.25).gauge_kpa[:, 0]
    assert [float(gauge[minute]) for minute in (59, 61, 121, 181, 241)] == pytest.approx([55.0, 52.0, 52.0, 60.0, 60.0])


def test_a_keg_that_is_carried_settles_on() -> None:
    keg = calm_keg(0.5, wine_holds_kpa=N2_OF_AIR, surface_m_per_s=None, happenings=(Moved(DAY_S, 300.0, 1e-4),))
    still, moved = replace(keg, happenings=()), keg
    gauge = keg_truths([still, moved], 1.2).gauge_kpa
    assert gauge[1439, 1] == gauge[1439, 0]
    assert 1.0 < gauge[1450, 0] - gauge[1450, 1] < 4.0


def test_wine_that_works_again_raises_the_pressure() -> None:
    # A mol takes 8.314 x 293.15 / 2 kPa in 2 L at 20 °C.
    keg = calm_keg(2.0, surface_m_per_s=0.0, made_mol_per_s=1e-8)
    gauge = keg_truths([keg], 1.0).gauge_kpa[:, 0]
    assert gauge[-1] - gauge[0] == pytest.approx(1e-8 * DAY_S * GAS_CONSTANT * 293.15 / 2.0, rel=0.002)


def test_oxygen_that_the_wine_gave_off_is_eaten() -> None:
    keg = calm_keg(0.5, wine_holds_kpa=(156.0, 0.0, 20.0), surface_m_per_s=1e-4)
    kept, eaten = keg_truths([keg, replace(keg, oxygen_eaten_s=3600.0)], 2.0).gauge_kpa[-1]
    assert 5.0 < kept - eaten < 12.0


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.5, 2.0, 10.0]), st.sampled_from(["n2", "ar", "co2"]))
def test_no_gas_appears_or_vanishes(seed: int, headspace_l: float, gas: Literal["n2", "ar", "co2"]) -> None:
    kind = KegKind(
        headspace_l,
        0.5,
        leak=("loss kPa/h", 1.0, 300.0),
        onset_day=(0.1, 0.2),
        draws_per_day=6.0,
        vents_per_day=4.0,
        moves_per_day=4.0,
        gas=(gas,),
    )
    world = KegWorld(draw_kegs(kind, 4, seed=seed), 0.5)
    before = world.total_mol()
    world.run()
    assert world.total_mol() == pytest.approx(before, rel=1e-9, abs=1e-9)
    assert world.head_mol.min() >= 0.0
    assert world.wine_mol.min() >= 0.0


def test_a_keg_depends_on_its_seed_alone() -> None:
    kind = KegKind(2.0, 1.0)
    together = read(keg_truths(draw_kegs(kind, 6, seed=3), 1.0))
    alone = read(keg_truths(draw_kegs(kind, 1, seed=3, first=4), 1.0))
    assert np.nanmax(np.abs(together.pressure_kpa[:, 4] - alone.pressure_kpa[:, 0])) < 1e-3
    assert together.kegs[4] == alone.kegs[0]
    assert draw_kegs(kind, 1, seed=4, first=4) != list(alone.kegs)


def test_probes_show_what_they_are_said_to() -> None:
    probes = KegProbes(
        mounted="wall",
        wall_share=0.25,
        pressure_noise_kpa=0.05,
        pressure_step_kpa=0.1,
        thermal_zero_kpa_k=0.06,
        temperature_step_k=0.0625,
        barometer_step_kpa=0.01,
        room=False,
        gaps=((7200.0, 18_000.0),),
    )
    air = KegAir(mean_c=10.0, swing_k=6.0, weather_kpa=1.0, doors=((3600.0, 3.0, 300.0),))
    truths = keg_truths([calm_keg(2.0, air=air, probes=probes)], 1.0)
    readings = read(truths)
    points = list(readings.of(0))
    assert len(points) == 1441 - 180
    assert all(point.room_c is None and point.barometer_kpa is not None for point in points)
    assert all(abs(16.0 * point.temperature_c - round(16.0 * point.temperature_c)) < 1e-2 for point in points)
    sensor_c = 0.5 * (truths.gas_c[:, 0] + truths.room_c[:, 0])
    error = readings.pressure_kpa[:, 0] - truths.gauge_kpa[:, 0] - 0.06 * (sensor_c - 20.0)
    assert abs(np.nanmean(error)) < 0.01
    assert np.nanstd(error) == pytest.approx(sqrt(0.05**2 + 0.1**2 / 12.0), rel=0.15)
    wall = truths.wine_c[:, 0] + 0.25 * (truths.room_c[:, 0] - truths.wine_c[:, 0])
    assert np.nanmax(np.abs(readings.temperature_c[:, 0] - wall)) < 0.04
    assert truths.room_c[60, 0] - truths.room_c[59, 0] > 2.5


def test_csv_holds_what_was_read() -> None:
    readings = read(keg_truths(draw_kegs(KegKind(2.0, 0.1, barometer=(True,), room_probe=(False,)), 1, seed=1), 0.1))
    file = io.StringIO()
    write_csv(readings, 0, file)
    rows = list(csv.reader(io.StringIO(file.getvalue())))
    assert rows[0] == ["at", "pressure_kpa", "temperature_c", "barometer_kpa"]
    assert rows[1][0] == "2026-09-01T00:00:00Z"
    points = list(readings.of(0))
    assert len(rows) == len(points) + 1
    assert [float(cell) for cell in rows[5][1:]] == list(points[4][1:4])


def test_a_keg_that_wine_would_fill_is_refused() -> None:
    with pytest.raises(ValueError, match="keg 0: wine fills it"):
        keg_truths([calm_keg(0.001, air=KegAir(mean_c=29.0))], 0.1)
    with pytest.raises(ValueError, match="from 0 to 30 °C"):
        keg_truths([calm_keg(1.0, air=KegAir(mean_c=35.0))], 0.1)
