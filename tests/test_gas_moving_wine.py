"""Flow in tubes, pushing and siphoning: an independent library, closed forms, properties."""

from __future__ import annotations

from math import log, pi

import fluids
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.errors import OutOfRange
from alerts.gas.moving_wine import push, siphon
from alerts.gas.tube_flow import GRAVITY_M_S2, Regime, Tube, tube_flow, wine_viscosity
from alerts.gas.wine_density import wine_density

DENSITY, VISCOSITY = 983.0, 1.75e-3
tubes = st.builds(Tube, st.floats(1.0, 100.0), st.floats(0.05, 200.0))
pressures = st.floats(0.001, 300.0)


@pytest.mark.parametrize(("bore_mm", "length_m"), [(4.76, 3.0), (6.35, 2.0), (9.5, 5.0), (25.0, 10.0), (50.0, 30.0)])
@pytest.mark.parametrize("kpa", [0.2, 1.0, 2.9, 15.2, 50.0, 200.0])
def test_flow_against_fluids(bore_mm: float, length_m: float, kpa: float) -> None:
    """The pressure that fluids works out for the flow: Clamond's friction factors for a smooth tube, K = 1.5."""
    flow = tube_flow(Tube(bore_mm, length_m), kpa, DENSITY, VISCOSITY)
    bore_m = bore_mm / 1000.0
    speed = flow.l_min / 60_000.0 / (pi / 4.0 * bore_m**2)
    reynolds = fluids.Reynolds(V=speed, D=bore_m, rho=DENSITY, mu=VISCOSITY)
    assert flow.reynolds == pytest.approx(reynolds, rel=1e-9)
    friction = fluids.friction_factor(Re=reynolds, eD=0.0)
    loss = fluids.K_from_f(friction, length_m, bore_m) + 1.5
    drop = fluids.dP_from_K(loss, rho=DENSITY, V=speed) / 1000.0
    if flow.regime is Regime.LAMINAR:
        assert drop == pytest.approx(kpa, rel=1e-6)
    elif flow.regime is Regime.TURBULENT:
        assert drop == pytest.approx(kpa, rel=0.04)
    else:
        assert 2000.0 <= flow.reynolds < 4000.0
        assert flow.high_l_min >= flow.l_min


def test_the_three_regimes_are_met() -> None:
    met = {tube_flow(Tube(6.35, 2.0), kpa, DENSITY, VISCOSITY).regime for kpa in (1.0, 5.8, 15.2)}
    assert met == set(Regime)


@given(tube=tubes, kpa=pressures, more=st.floats(1.001, 2.0))
def test_more_pressure_is_never_less_flow(tube: Tube, kpa: float, more: float) -> None:
    less, faster = (tube_flow(tube, p, DENSITY, VISCOSITY) for p in (kpa, kpa * more))
    assert 0.0 < less.l_min <= faster.l_min * (1.0 + 1e-9)
    assert less.l_min <= less.high_l_min * (1.0 + 1e-9)
    if less.regime is not Regime.TRANSITION:
        assert less.high_l_min == less.l_min


@given(tube=tubes, kpa=pressures)
def test_a_longer_or_narrower_tube_is_never_faster(tube: Tube, kpa: float) -> None:
    flow = tube_flow(tube, kpa, DENSITY, VISCOSITY).l_min
    if tube.length_m < 100.0:
        assert tube_flow(Tube(tube.bore_mm, 2.0 * tube.length_m), kpa, DENSITY, VISCOSITY).l_min <= flow * (1.0 + 1e-9)
    if tube.bore_mm > 2.0:
        assert tube_flow(Tube(tube.bore_mm / 1.5, tube.length_m), kpa, DENSITY, VISCOSITY).l_min < flow


@pytest.mark.parametrize(
    ("celsius", "low", "high"), [(8.0, 2.2e-3, 2.5e-3), (16.0, 1.71e-3, 1.92e-3), (20.0, 1.5e-3, 1.7e-3)]
)
def test_viscosity_of_dry_wine(celsius: float, low: float, high: float) -> None:
    """Greek dry wines, J. Food Engineering 2007."""
    assert low <= wine_viscosity(celsius) <= high


# ---- push -----------------------------------------------------------------------------------------------------------


def test_a_push() -> None:
    """18 L by 20 kPa over a lift of 0.5 m through 2 m of 6.35 mm: 15.2 kPa, 2.9 L/min, 6 min."""
    worked = push("keg", 18.0, 20.0, 0.5, Tube(6.35, 2.0), 17.0)
    assert worked.driving_kpa == pytest.approx(15.18, abs=0.02)
    assert worked.l_min == pytest.approx(2.92, abs=0.03)
    assert worked.minutes * worked.l_min == pytest.approx(18.0)
    assert worked.regime is Regime.TURBULENT
    assert push("keg", 18.5, 55.0, 0.0, Tube(6.35, 2.0), 15.0).gas_l == pytest.approx(28.54, abs=0.01)


@given(kpa=st.floats(15.0, 100.0), height=st.floats(-1.0, 1.0), more=st.floats(0.001, 0.4))
def test_a_higher_lift_is_slower(kpa: float, height: float, more: float) -> None:
    low, high = (push("tank", 100.0, kpa, lift, Tube(12.0, 4.0), 15.0) for lift in (height, height + more))
    assert high.minutes >= low.minutes
    assert high.gas_l == low.gas_l


@pytest.mark.parametrize(
    ("kind", "kpa", "height", "stamp", "receiver", "message"),
    [
        ("carboy", 20.0, 0.0, None, 0.0, "bursts"),
        ("glass", 0.0, -1.0, 200.0, 0.0, "bursts"),
        ("barrel", 20.0, 0.0, 200.0, 0.0, "not a pressure vessel"),
        ("keg", 201.0, 0.0, 200.0, 0.0, "stamped"),
        ("keg", 4.0, 0.5, None, 0.0, "a lift of 0.5 m takes 4.82 kPa; it must be above 4.82"),
        ("keg", 20.0, 0.0, None, 20.0, "the receiver has 20 kPa"),
        ("keg", -1.0, -5.0, None, 0.0, "out of range"),
        ("keg", 20.0, 51.0, None, 0.0, "out of range"),
    ],
)
def test_a_push_that_is_refused(
    kind: str, kpa: float, height: float, stamp: float | None, receiver: float, message: str
) -> None:
    with pytest.raises(OutOfRange, match=message):
        push(kind, 18.0, kpa, height, Tube(6.35, 2.0), 15.0, stamp_kpa=stamp, receiver_kpa=receiver)


# ---- siphon ---------------------------------------------------------------------------------------------------------


def test_a_siphon_whose_head_does_not_fall() -> None:
    worked = siphon(20.0, 0.6, 0.6, Tube(6.35, 2.0), 17.0)
    assert worked.l_min / 0.06 == pytest.approx(28.3, abs=0.2)
    assert worked.regime is Regime.TRANSITION
    assert worked.minutes == pytest.approx(20.0 / worked.l_min)


def test_a_slow_siphon_follows_the_closed_form() -> None:
    """Where Q = c h the time is V ln(h1 / h2) / (c (h1 - h2)); 50 m of 3 mm leave nothing for entry and exit."""
    tube = Tube(3.0, 50.0)
    worked = siphon(5.0, 1.0, 0.2, tube, 15.0)
    at_one = siphon(5.0, 1.0, 1.0, tube, 15.0).l_min
    assert worked.regime is Regime.LAMINAR
    assert worked.minutes == pytest.approx(5.0 * log(5.0) / (at_one * 0.8), rel=2e-3)


def test_a_fast_siphon_against_fine_steps() -> None:
    tube, steps = Tube(9.5, 2.5), 500
    worked = siphon(23.0, 1.0, 0.05, tube, 12.0)
    heads = [1.0 - 0.95 * (step + 0.5) / steps for step in range(steps)]
    density, viscosity = wine_density(12.0, 12.0), wine_viscosity(12.0)
    flows = [tube_flow(tube, density * GRAVITY_M_S2 * head / 1000.0, density, viscosity).l_min for head in heads]
    minutes = sum(23.0 / steps / l_min for l_min in flows)
    assert worked.minutes == pytest.approx(minutes, rel=5e-3)
    assert worked.start_l_min > worked.l_min > worked.end_l_min


@pytest.mark.parametrize(("bore_mm", "length_m", "rel"), [(3.0, 3.0, 1e-3), (12.0, 2.0, 0.02)])
def test_a_siphon_against_fluids(bore_mm: float, length_m: float, rel: float) -> None:
    """A level that falls in small steps, each with the speed by the friction factors of fluids (Clamond; 64/Re)."""
    worked = siphon(20.0, 0.9, 0.4, Tube(bore_mm, length_m), 15.0)
    bore_m, density, viscosity = bore_mm / 1000.0, wine_density(12.0, 15.0), wine_viscosity(15.0)
    area, steps, seconds, speed = pi / 4.0 * bore_m**2, 200, 0.0, 0.5
    for step in range(steps):
        drop_pa = density * GRAVITY_M_S2 * (0.9 - 0.5 * (step + 0.5) / steps)
        for _ in range(60):
            reynolds = fluids.Reynolds(V=speed, D=bore_m, rho=density, mu=viscosity)
            friction = fluids.friction_factor(Re=reynolds, eD=0.0)
            speed = (speed + (2.0 * drop_pa / density / (friction * length_m / bore_m + 1.5)) ** 0.5) / 2.0
        seconds += 0.020 / steps / area / speed
    assert worked.minutes == pytest.approx(seconds / 60.0, rel=rel)


@settings(max_examples=25)
@given(start=st.floats(0.05, 5.0), share=st.floats(0.01, 1.0), volume=st.floats(0.1, 1000.0))
def test_a_siphon_lies_between_its_ends(start: float, share: float, volume: float) -> None:
    worked = siphon(volume, start, max(start * share, 0.001), Tube(8.0, 2.0), 15.0)
    assert worked.end_l_min * (1.0 - 1e-6) <= worked.l_min <= worked.start_l_min * (1.0 + 1e-6)
    assert worked.low_minutes <= worked.minutes * (1.0 + 1e-9)


@pytest.mark.parametrize(
    ("start", "end", "bore", "length", "of"),
    [
        (0.5, 0.0, 8.0, 2.0, "head at the end"),
        (0.5, 0.6, 8.0, 2.0, "head at the end"),
        (11.0, 0.6, 8.0, 2.0, "head at the start"),
        (0.5, 0.2, 0.0, 2.0, "bore"),
        (0.5, 0.2, 8.0, 0.0, "length"),
        (0.5, 0.2, 8.0, 201.0, "length"),
    ],
)
def test_a_siphon_that_is_refused(start: float, end: float, bore: float, length: float, of: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        siphon(20.0, start, end, Tube(bore, length), 15.0)
    assert caught.value.of == of
