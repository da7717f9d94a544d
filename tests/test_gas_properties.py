"""Properties of wine and gases: published tables, and independent libraries."""

from __future__ import annotations

import warnings
from math import isfinite

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from alerts.errors import OutOfRange
from alerts.gas.compressibility import blanket_z, carbon_dioxide_vapour_kpa, carbon_dioxide_z, cylinder_z
from alerts.gas.gases import GASES, STANDARD_L_MOL, BlanketGas, blanket_gas, kelvin, standard_l
from alerts.gas.over_wine import gas_solubility, vapour_pressure_kpa
from alerts.gas.wine_density import ethanol_mass_fraction, mixture_density, wine_density

COOLPROP = {"nitrogen": "Nitrogen", "argon": "Argon", "carbon dioxide": "CarbonDioxide"}
PERCENT = st.floats(0.0, 20.0)
CELSIUS = st.floats(-5.0, 40.0)


# ---- density --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fraction", "celsius", "kg_m3", "within"),
    [
        (1.0, 20.0, 789.24, 0.01),  # OIML R 22
        (1.0, 40.0, 771.93, 0.01),  # lower end of its range
        (0.0, 20.0, 998.20, 0.01),
        (0.10, 20.0, 981.87, 0.03),  # Perry's Chemical Engineers' Handbook
        (0.12, 20.0, 979.10, 0.03),
    ],
)
def test_density_of_published_tables(fraction: float, celsius: float, kg_m3: float, within: float) -> None:
    assert mixture_density(fraction, celsius) == pytest.approx(kg_m3, abs=within)


@pytest.mark.parametrize(
    ("celsius", "percent_mass", "gravity"),
    [
        (15.56, 8.05, 0.9866),
        (15.56, 9.68, 0.9843),
        (15.56, 11.32, 0.9821),
        (25.0, 8.05, 0.9862),
        (25.0, 9.68, 0.9838),
        (25.0, 11.32, 0.9814),
    ],
)
def test_density_away_from_20_c_with_alcohol(celsius: float, percent_mass: float, gravity: float) -> None:
    """USP alcoholometric table (NBS Bulletin 9): specific gravity in air. Only this tries the formula's cross terms."""
    air = 1.2
    wine, water = mixture_density(percent_mass / 100.0, celsius), mixture_density(0.0, celsius)
    assert (wine - air) / (water - air) == pytest.approx(gravity, abs=6e-5)


@pytest.mark.parametrize("celsius", [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0])
@pytest.mark.parametrize("percent", [8.0, 12.0, 16.0])
def test_density_against_melinder_s_ethanol(percent: float, celsius: float) -> None:
    fraction = ethanol_mass_fraction(percent)
    theirs = PropsSI("D", "T", kelvin(celsius), "P", 101325.0, f"INCOMP::MEA[{fraction}]")
    assert wine_density(percent, celsius) == pytest.approx(theirs, abs=0.45)


def test_40_percent_by_volume() -> None:
    assert wine_density(20.0, 20.0) > mixture_density(ethanol_mass_fraction(20.0) * 2.0, 20.0)
    assert mixture_density(0.3330, 20.0) == pytest.approx(948.05, abs=0.1)  # 40 % vol, 33.30 % by mass: OIML R 22


@given(percent=PERCENT)
def test_mass_fraction_and_volume_strength_go_round(percent: float) -> None:
    fraction = ethanol_mass_fraction(percent)
    assert 100.0 * fraction * mixture_density(fraction, 20.0) / 789.24 == pytest.approx(percent, abs=1e-9)


@given(percent=PERCENT, warm=st.floats(8.0, 39.9))
def test_wine_expands_and_alcohol_makes_it_lighter(percent: float, warm: float) -> None:
    assert wine_density(percent, warm + 0.1) < wine_density(percent, warm)
    if percent > 0.1:
        assert wine_density(percent, warm) < wine_density(percent - 0.1, warm)


# ---- vapour ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("celsius", [1.0, 10.0, 20.0, 30.0, 40.0])
def test_vapour_of_water_against_coolprop(celsius: float) -> None:
    theirs = PropsSI("P", "T", kelvin(celsius), "Q", 0, "Water") / 1000.0
    assert vapour_pressure_kpa(0.0, celsius) == pytest.approx(theirs, rel=3e-3)


@pytest.mark.parametrize(("celsius", "kpa"), [(10.0, 1.53), (20.0, 2.99), (30.0, 5.60)])
def test_vapour_over_wine_against_unifac(celsius: float, kpa: float) -> None:
    """Modified UNIFAC (Dortmund) gives ethanol 20 % more, so the sum is up to 8 % more."""
    from thermo.unifac import DOUFIP2016, DOUFSG, UNIFAC

    water = 1.0 - ethanol_mass_fraction(12.0)
    moles = (water / 18.0153, ethanol_mass_fraction(12.0) / 46.068)
    x = [share / sum(moles) for share in moles]
    mix = UNIFAC.from_subgroups(
        T=kelvin(celsius),
        xs=x,
        version=1,
        interaction_data=DOUFIP2016,
        subgroups=DOUFSG,
        chemgroups=[{16: 1}, {1: 1, 2: 1, 14: 1}],
    )
    pure = [PropsSI("P", "T", kelvin(celsius), "Q", 0, name) / 1000.0 for name in ("Water", "Ethanol")]
    theirs = sum(a * b * p for a, b, p in zip(x, mix.gammas(), pure, strict=True))
    ours = vapour_pressure_kpa(12.0, celsius)
    assert ours == pytest.approx(kpa, abs=0.01)
    assert 1.0 <= theirs / ours < 1.085


@given(percent=PERCENT, celsius=st.floats(-5.0, 39.0))
def test_vapour_rises_with_temperature(percent: float, celsius: float) -> None:
    assert 0.0 < vapour_pressure_kpa(percent, celsius) < vapour_pressure_kpa(percent, celsius + 1.0)


# ---- solubility -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("celsius", "within"), [(1.0, 0.03), (5.0, 0.013), (15.0, 0.003), (25.0, 0.013), (30.0, 0.03)])
@pytest.mark.parametrize("gas", GASES.values(), ids=lambda gas: gas.formula)
def test_solubility_in_water_against_iapws(gas: BlanketGas, celsius: float, within: float) -> None:
    from iapws._iapws import _Henry

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its data begin at 5 °C or so
        henry_pa = 1e6 * _Henry(kelvin(celsius), gas.formula)
    mol_m3 = PropsSI("D", "T", kelvin(celsius), "Q", 0, "Water") / 0.0180153
    assert gas_solubility(gas, celsius, wine_factor=1.0) == pytest.approx(mol_m3 / henry_pa, rel=within)


def test_carbon_dioxide_in_wine_as_the_trade_has_it() -> None:
    """Wine of 11 % vol dissolves 2.9 g/L at 0 °C and 1.4 g/L at 20 °C under 1 atm (Zoecklein 2006)."""
    gas = GASES["carbon dioxide"]
    for celsius, g_l in ((0.0, 2.9), (20.0, 1.4)):
        found = gas_solubility(gas, celsius) * 101.325 * gas.molar_mass_g_mol
        assert found == pytest.approx(g_l, rel=0.075)


# ---- compressibility ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("celsius", [0.0, 20.0, 40.0])
@pytest.mark.parametrize("kpa", [50.0, 156.325, 500.0, 1000.0])
@pytest.mark.parametrize("gas", GASES.values(), ids=lambda gas: gas.formula)
def test_compressibility_of_a_blanket(gas: BlanketGas, kpa: float, celsius: float) -> None:
    theirs = PropsSI("Z", "T", kelvin(celsius), "P", kpa * 1000.0, COOLPROP[gas.name])
    assert blanket_z(gas, kpa, celsius) == pytest.approx(theirs, abs=4e-4 if kpa < 200.0 else 3e-3)


@pytest.mark.parametrize("celsius", [-25.0, -10.0, 0.0, 15.0, 33.0, 60.0])
@pytest.mark.parametrize("mpa", [0.1, 1.0, 5.0, 10.0, 15.0, 20.1, 25.0, 32.0])
@pytest.mark.parametrize(("gas", "within"), [("nitrogen", 1e-4), ("argon", 2e-4)])
def test_compressibility_in_a_cylinder(gas: str, within: float, mpa: float, celsius: float) -> None:
    theirs = PropsSI("Z", "T", kelvin(celsius), "P", mpa * 1e6, COOLPROP[gas])
    assert cylinder_z(GASES[gas], mpa * 1000.0, celsius) == pytest.approx(theirs, abs=within)


@pytest.mark.parametrize("celsius", [-25.0, -10.0, 0.0, 10.0, 20.0, 28.0])
def test_carbon_dioxide_below_and_at_its_vapour_pressure(celsius: float) -> None:
    theirs = PropsSI("P", "T", kelvin(celsius), "Q", 1, "CarbonDioxide") / 1000.0
    vapour = carbon_dioxide_vapour_kpa(celsius)
    assert vapour == pytest.approx(theirs, rel=2e-4)
    for share in (0.05, 0.3, 0.6, 0.8, 0.93):
        z = PropsSI("Z", "T", kelvin(celsius), "P", share * theirs * 1000.0, "CarbonDioxide")
        assert carbon_dioxide_z(share * theirs, celsius) == pytest.approx(z, rel=0.005)


@pytest.mark.parametrize("kpa", [100.0, 2000.0, 5000.0, 6800.0])
@pytest.mark.parametrize("celsius", [31.5, 40.0, 60.0])
def test_carbon_dioxide_above_its_critical_temperature(celsius: float, kpa: float) -> None:
    z = PropsSI("Z", "T", kelvin(celsius), "P", kpa * 1000.0, "CarbonDioxide")
    assert carbon_dioxide_z(kpa, celsius) == pytest.approx(z, rel=0.005)


def test_no_liquid_above_the_critical_point() -> None:
    assert carbon_dioxide_vapour_kpa(31.0) is None
    assert carbon_dioxide_vapour_kpa(30.97) == pytest.approx(7377.0, rel=1e-3)


# ---- the rest -------------------------------------------------------------------------------------------------------


def test_the_standard_litre() -> None:
    assert pytest.approx(23.645, abs=5e-4) == STANDARD_L_MOL
    assert standard_l(18.5, 156.325, 15.0) == pytest.approx(28.54, abs=0.01)


@pytest.mark.parametrize("word", ["carbon dioxide", "CO2", "carbon-dioxide", " Carbon  Dioxide "])
def test_names_of_gases(word: str) -> None:
    assert blanket_gas(word).name == "carbon dioxide"
    with pytest.raises(OutOfRange, match="allowed: nitrogen, argon, carbon dioxide"):
        blanket_gas(f"{word}x")


@given(percent=PERCENT, celsius=CELSIUS)
def test_all_is_finite_within_the_ranges(percent: float, celsius: float) -> None:
    values = [wine_density(percent, celsius), vapour_pressure_kpa(percent, celsius)]
    values += [gas_solubility(gas, celsius) for gas in GASES.values()]
    assert all(isfinite(value) and value > 0.0 for value in values)


@pytest.mark.parametrize(("percent", "celsius"), [(-0.1, 20.0), (20.1, 20.0), (12.0, -5.1), (12.0, 40.1)])
def test_outside_the_ranges_is_refused(percent: float, celsius: float) -> None:
    with pytest.raises(OutOfRange, match="out of range"):
        wine_density(percent, celsius)
    with pytest.raises(OutOfRange, match="out of range"):
        vapour_pressure_kpa(percent, celsius)
