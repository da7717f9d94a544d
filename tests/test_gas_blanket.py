"""The blanket as an amount of gas, and the no-leak band: tables, an independent rebuild, properties."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import assume, given
from hypothesis import strategies as st

from alerts.errors import OutOfRange
from alerts.gas.blanket import BlanketState, Filling, blanket, blanket_uncertainty
from alerts.gas.gases import GASES, BlanketGas, kelvin

NITROGEN, ARGON, CARBON_DIOXIDE = GASES.values()

fillings = st.builds(
    lambda capacity, share, percent, material: Filling(capacity, capacity * share, percent, material),
    st.floats(1.0, 2000.0),
    st.floats(0.0, 0.95),
    st.floats(0.0, 20.0),
    st.sampled_from(["steel", "glass", "rigid"]),
)
states = st.builds(
    BlanketState,
    st.sampled_from(list(GASES.values())),
    st.floats(-20.0, 400.0),
    st.floats(-5.0, 40.0),
    st.floats(70, 105),
)


def _keg(headspace_l: float, material: str = "steel") -> Filling:
    return Filling(19.0, 19.0 - headspace_l, 12.0, material)


@pytest.mark.parametrize(
    ("headspace_l", "start_kpa", "cold_c", "frozen", "equilibrium"),
    [
        (0.5, 55.0, 10.0, 40.1, 36.1),
        (2.0, 55.0, 10.0, 46.4, 44.2),
        (10.0, 55.0, 10.0, 48.2, 47.9),
        (0.5, 5.0, 4.0, -9.1, -14.3),
        (2.0, 10.0, 4.0, 0.5, -2.1),
        (10.0, 20.0, 4.0, 11.4, 11.1),
        (0.5, 30.0, 4.0, 13.0, 6.5),
    ],
)
def test_a_keg_that_cools(
    headspace_l: float, start_kpa: float, cold_c: float, frozen: float, equilibrium: float
) -> None:
    """Worked out by hand from the same equations, without Z."""
    worked = blanket(_keg(headspace_l), BlanketState(NITROGEN, start_kpa, 20.0), cold_c)
    assert worked.frozen_kpa == pytest.approx(frozen, abs=0.1)
    assert worked.equilibrium_kpa == pytest.approx(equilibrium, abs=0.1)


@pytest.mark.parametrize(("headspace_l", "within"), [(0.5, 0.9), (2.0, 0.25), (10.0, 0.2)])
@pytest.mark.parametrize(("start_c", "end_c"), [(20.0, 10.0), (10.0, 25.0), (5.0, 15.0)])
def test_the_frozen_edge_against_a_rebuild_by_a_library(
    headspace_l: float, within: float, start_c: float, end_c: float
) -> None:
    """Density of Melinder's ethanol (9.64 % by mass), real nitrogen, vapours: CoolProp.

    Its density is good to 0.3 kg/m³, which at half a litre of headspace is 1 % of the gas volume.
    """

    def wine_l(celsius: float) -> float:
        at_20, then = (PropsSI("D", "T", kelvin(at), "P", 101325.0, "INCOMP::MEA[0.0964]") for at in (20.0, celsius))
        return float((19.0 - headspace_l) * at_20 / then)

    def vapour(celsius: float) -> float:
        water, ethanol = (PropsSI("P", "T", kelvin(celsius), "Q", 0, name) for name in ("Water", "Ethanol"))
        # Mole fractions at 12 % vol; ethanol's activity coefficient in much water is near 4 (modified UNIFAC).
        return float(0.960 * water + 0.040 * 4.0 * ethanol) / 1000.0

    def gas_l(celsius: float) -> float:
        return 19.0 * (1.0 + 48e-6 * (celsius - 20.0)) - wine_l(celsius)

    dry = 55.0 + 101.325 - vapour(start_c)
    mol_m3 = PropsSI("Dmolar", "T", kelvin(start_c), "P", dry * 1000.0, "Nitrogen") * gas_l(start_c) / gas_l(end_c)
    theirs = PropsSI("P", "T", kelvin(end_c), "Dmolar", mol_m3, "Nitrogen") / 1000.0 + vapour(end_c) - 101.325
    ours = blanket(_keg(headspace_l), BlanketState(NITROGEN, 55.0, start_c), end_c)
    assert ours.frozen_kpa == pytest.approx(theirs, abs=within)


def test_amounts() -> None:
    """153.33 kPa x 0.5 L / (0.9996 R 293.15 K) = 31.47 mmol; effective volume 0.5 + 0.0152 x 18.5 L."""
    worked = blanket(_keg(0.5), BlanketState(NITROGEN, 55.0, 20.0), 15.0)
    assert worked.headspace_l == pytest.approx(0.5)
    assert worked.headspace_mmol == pytest.approx(31.47, abs=0.02)
    assert worked.dissolved_mmol == pytest.approx(31.46 * 0.0152 * 18.5 / 0.5, rel=3e-3)


def test_steel_takes_back_a_quarter_of_what_wine_expands() -> None:
    state = BlanketState(NITROGEN, 55.0, 20.0)
    steel, rigid = (blanket(_keg(0.5, material), state, 10.0).frozen_kpa for material in ("steel", "rigid"))
    assert steel - rigid == pytest.approx(2.4, abs=0.2)


@given(filling=fillings, state=states)
def test_at_its_own_temperature_nothing_changes(filling: Filling, state: BlanketState) -> None:
    worked = blanket(filling, state, state.temperature_c)
    assert worked.frozen_kpa == pytest.approx(state.pressure_kpa, abs=1e-6)
    assert worked.equilibrium_kpa == pytest.approx(state.pressure_kpa, abs=1e-6)


@given(filling=fillings, state=states, reference_c=st.floats(-5.0, 40.0))
def test_there_and_back(filling: Filling, state: BlanketState, reference_c: float) -> None:
    for edge in ("frozen_kpa", "equilibrium_kpa"):
        there = getattr(blanket(filling, state, reference_c), edge)
        assume(-100.0 <= there <= 1000.0)
        back = blanket(filling, replace(state, pressure_kpa=there, temperature_c=reference_c), state.temperature_c)
        assert getattr(back, edge) == pytest.approx(state.pressure_kpa, abs=1e-5)


@given(filling=fillings, state=states, colder=st.floats(0.5, 15.0))
def test_colder_is_lower_and_equilibrium_is_the_lower_edge(
    filling: Filling, state: BlanketState, colder: float
) -> None:
    """From 8 °C on, where wine of any strength shrinks; juice and weak wine expand again near freezing."""
    assume(state.temperature_c - colder >= 8.0)
    worked = blanket(filling, state, state.temperature_c - colder)
    assert worked.equilibrium_kpa <= worked.frozen_kpa + 1e-6
    assert worked.frozen_kpa < state.pressure_kpa


@given(filling=fillings, state=states, reference_c=st.floats(-5.0, 40.0), more=st.floats(0.1, 100.0))
def test_more_pressure_is_more_gas(filling: Filling, state: BlanketState, reference_c: float, more: float) -> None:
    less = blanket(filling, state, reference_c)
    high = blanket(filling, replace(state, pressure_kpa=state.pressure_kpa + more), reference_c)
    assert high.headspace_mmol > less.headspace_mmol
    assert high.frozen_kpa > less.frozen_kpa
    assert high.equilibrium_kpa > less.equilibrium_kpa


@given(filling=fillings, state=states, reference_c=st.floats(-5.0, 40.0), barometer=st.floats(70.0, 105.0))
def test_the_barometer_moves_the_gauge_one_to_one_at_the_same_absolute_pressure(
    filling: Filling, state: BlanketState, reference_c: float, barometer: float
) -> None:
    moved = replace(state, barometer_kpa=barometer, pressure_kpa=state.pressure_kpa + state.barometer_kpa - barometer)
    first, second = blanket(filling, state, reference_c), blanket(filling, moved, reference_c)
    assert second.headspace_mmol == pytest.approx(first.headspace_mmol)
    assert second.frozen_kpa - first.frozen_kpa == pytest.approx(state.barometer_kpa - barometer, abs=1e-5)


# ---- uncertainty ----------------------------------------------------------------------------------------------------


def test_the_headspace_decides_the_uncertainty() -> None:
    """At 0.5 L, 0.1 L of wine change the frozen slope from 1.43 to 1.81 kPa/K around 1.58: 1.6 to 1.9 kPa in 10 K."""
    state = BlanketState(NITROGEN, 55.0, 20.0)
    u = blanket_uncertainty(_keg(0.5), state, 10.0, u_wine_l=0.1, u_pressure_kpa=0.0, u_c=0.0)
    assert u.headspace_l == pytest.approx(0.1)
    assert u.headspace_mmol == pytest.approx(6.3, abs=0.05)
    assert u.frozen_kpa == pytest.approx(1.7, abs=0.3)
    only_factor = blanket_uncertainty(_keg(0.5), state, 10.0, u_wine_l=0.0, u_pressure_kpa=0.0, u_c=0.0)
    assert only_factor.headspace_l == 0.0
    assert only_factor.dissolved_mmol / 17.7 == pytest.approx(0.03 / 0.90, rel=0.01)


@given(
    filling=fillings,
    state=states,
    reference_c=st.floats(-5.0, 40.0),
    u=st.tuples(st.floats(0.0, 5.0), st.floats(0.0, 5.0), st.floats(0.0, 2.0)),
)
def test_uncertainties_are_finite_and_not_negative(
    filling: Filling, state: BlanketState, reference_c: float, u: tuple[float, float, float]
) -> None:
    found = blanket_uncertainty(filling, state, reference_c, u_wine_l=u[0], u_pressure_kpa=u[1], u_c=u[2])
    for name in ("headspace_l", "headspace_mmol", "dissolved_mmol", "frozen_kpa", "equilibrium_kpa"):
        assert isfinite(getattr(found, name))
        assert getattr(found, name) >= 0.0


@pytest.mark.parametrize("gas", GASES.values(), ids=lambda gas: gas.formula)
def test_the_highest_pressure_stays_as_it_is_at_its_own_temperature(gas: BlanketGas) -> None:
    worked = blanket(_keg(2.0), BlanketState(gas, 1000.0, 0.0), 0.0)
    assert worked.frozen_kpa == pytest.approx(1000.0, abs=1e-3)
    assert worked.equilibrium_kpa == pytest.approx(1000.0, abs=1e-3)


def test_a_vessel_that_is_full_at_20_c_and_cooler_now() -> None:
    u = blanket_uncertainty(
        Filling(19.0, 19.0), BlanketState(NITROGEN, 5.0, 5.0), 4.0, u_wine_l=0.01, u_pressure_kpa=0.5, u_c=0.3
    )
    assert u.headspace_l == pytest.approx(0.01, rel=0.2)


# ---- refusals -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("filling", "state", "reference_c", "of", "message"),
    [
        (Filling(19.0, 19.5), BlanketState(NITROGEN, 55.0, 20.0), 15.0, "wine", "headspace would be below zero"),
        (Filling(19.0, 19.0), BlanketState(NITROGEN, 55.0, 20.0), 15.0, "headspace", "must be above 0"),
        (Filling(19.0, 18.98), BlanketState(NITROGEN, 55.0, 20.0), 30.0, "headspace", "at 30 °C"),
        (
            Filling(19.0, 18.98),
            BlanketState(NITROGEN, 55.0, 5.0),
            23.0,
            "reference temperature",
            "beyond the 1000 kPa",
        ),
        (Filling(0.0, 0.0), BlanketState(NITROGEN, 55.0, 20.0), 15.0, "capacity", "out of range"),
        (Filling(19.0, -1.0), BlanketState(NITROGEN, 55.0, 20.0), 15.0, "wine", "out of range"),
        (Filling(19.0, 18.0, 21.0), BlanketState(NITROGEN, 55.0, 20.0), 15.0, "alcohol", "0 to 20 % vol"),
        (Filling(19.0, 18.0, 12.0, "wood"), BlanketState(NITROGEN, 5.0, 20.0), 15.0, "material", "steel, glass, rigid"),
        (Filling(19.0, 18.0), BlanketState(NITROGEN, 1001.0, 20.0), 15.0, "pressure", "-100 to 1000 kPa"),
        (Filling(19.0, 18.0), BlanketState(NITROGEN, -99.0, 20.0), 15.0, "pressure", "wine's vapour"),
        (Filling(19.0, 18.0), BlanketState(NITROGEN, float("nan"), 20.0), 15.0, "pressure", "out of range"),
        (Filling(19.0, 18.0), BlanketState(ARGON, 55.0, 41.0), 15.0, "temperature", "-5 to 40 °C"),
        (Filling(19.0, 18.0), BlanketState(ARGON, 55.0, 20.0), -6.0, "reference temperature", "-5 to 40 °C"),
        (Filling(19.0, 18.0), BlanketState(CARBON_DIOXIDE, 55.0, 20.0, 1013.0), 15.0, "barometer", "50 to 110 kPa"),
    ],
)
def test_what_is_refused(filling: Filling, state: BlanketState, reference_c: float, of: str, message: str) -> None:
    with pytest.raises(OutOfRange, match=message) as caught:
        blanket(filling, state, reference_c)
    assert caught.value.of == of
