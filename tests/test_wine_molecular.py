"""Molecular SO2 by both models: against published tables and worked examples, and what must hold of any wine."""

from __future__ import annotations

from math import inf, log10, nan, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.errors import OutOfRange
from alerts.wine.molecular import (
    OIV_PK,
    SIMPLE_PK,
    TRADE_PK,
    MolecularModel,
    Pk,
    calorimetric_shift,
    free_needed,
    molecular_so2,
    oiv_pk,
    simple_pk,
)

ALCOHOL = st.floats(0.0, 20.0)
CELSIUS = st.floats(-5.0, 40.0)
PH = st.floats(2.5, 4.5)
FREE = st.floats(0.0, 400.0)
PKS = st.one_of(st.builds(simple_pk, st.floats(1.0, 3.0)), st.builds(oiv_pk, ALCOHOL, CELSIUS))


# ---- the simple model ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ph", "percent", "needed"),
    [
        (2.9, 7.52, (6.7, 8.0, 10.6, 27)),
        (3.0, 6.06, (8.2, 9.9, 13.2, 33)),
        (3.1, 4.88, (10.2, 12.3, 16.4, 41)),
        (3.2, 3.91, (12.8, 15.3, 20.4, 51)),
        (3.3, 3.13, (16.0, 19.1, 25.5, 64)),
        (3.4, 2.51, (20.0, 23.9, 31.9, 80)),
        (3.5, 2.00, (25.0, 30.0, 40.0, 100)),
        (3.6, 1.60, (31.3, 37.6, 50.1, 125)),
        (3.7, 1.27, (39.3, 47.2, 62.9, 157)),
        (3.8, 1.01, (49.4, 59.2, 79.0, 197)),
        (3.9, 0.806, (62.0, 74.4, 99.2, 248)),
        (4.0, 0.642, (77.9, 93.5, 124.7, 312)),
    ],
)
def test_the_trade_s_table(ph: float, percent: float, needed: tuple[float, ...]) -> None:
    """Free SO2 for 0.5, 0.6, 0.8 and 2.0 mg/L molecular.

    The table of University of California Cooperative Extension, Enology Briefs I no. 1 (1982), by way of a laboratory
    handout; its digits here worked out again with pK 1.81.
    """
    assert 100.0 * TRADE_PK.fraction(ph) == pytest.approx(percent, abs=0.005)
    for target, free in zip((0.5, 0.6, 0.8, 2.0), needed, strict=True):
        assert free_needed(target, ph, TRADE_PK).mg_l == pytest.approx(free, abs=0.5 if target == 2.0 else 0.05)


def test_a_rival_pk_asks_for_a_tenth_more() -> None:
    """1.77 (K = 1.7e-2, Amerine) against 1.81: 10^0.04 = 1.096, less where much of it is molecular."""
    for ph in (2.9, 3.3, 4.0):
        ratio = free_needed(0.6, ph, simple_pk(1.77)).mg_l / free_needed(0.6, ph, TRADE_PK).mg_l
        assert 1.085 < ratio < 1.097


# ---- the OIV model -------------------------------------------------------------------------------------------------

# OIV-MA-AS323-04C, table I, thermodynamic pK: alcohol % vol by 20, 25, 30, 35, 40 °C.
TABLE_I = {
    0: (1.798, 2.000, 2.219, 2.334, 2.493),
    5: (1.897, 2.098, 2.299, 2.397, 2.527),
    10: (1.997, 2.198, 2.394, 2.488, 2.606),
    15: (2.099, 2.301, 2.503, 2.607, 2.728),
    20: (2.203, 2.406, 2.628, 2.754, 2.895),
}
# The same, table II, at an ionic strength of 0.038 mol/L.
TABLE_II = {
    0: (1.723, 1.925, 2.143, 2.257, 2.416),
    5: (1.819, 2.020, 2.220, 2.317, 2.446),
    10: (1.916, 2.116, 2.311, 2.405, 2.522),
    15: (2.014, 2.216, 2.417, 2.520, 2.640),
    20: (2.114, 2.317, 2.538, 2.663, 2.803),
}
COLUMNS = (20, 25, 30, 35, 40)
# g of ethanol in 100 g of a mixture of % vol (OIML R 22 at 20 °C, from memory, to 0.01).
PERCENT_MASS = {0: 0.0, 5: 3.98, 10: 8.01, 15: 12.09, 20: 16.21}


@pytest.mark.parametrize("alcohol", TABLE_II)
@pytest.mark.parametrize("column", range(5))
def test_table_ii_cell_by_cell(alcohol: int, column: int) -> None:
    pk = oiv_pk(alcohol, COLUMNS[column])
    assert pk.value == pytest.approx(TABLE_II[alcohol][column], abs=1e-12)
    assert (pk.model, pk.u, pk.extrapolated, pk.name) == (MolecularModel.OIV, 0.0, False, "OIV")


@pytest.mark.parametrize("alcohol", TABLE_II)
@pytest.mark.parametrize("column", range(5))
def test_table_i_turns_into_table_ii(alcohol: int, column: int) -> None:
    """A mistyped cell would show: pKM = pKT - A sqrt(I) / (1 + B sqrt(I)), I = 0.038 mol/L.

    A = 1.8246e6 (eps T)^-1.5, B = 50.29 (eps T)^-0.5 x 5.08; the permittivity of water by Malmberg and Maryott (1956),
    less 0.74 % for each % of ethanol by mass; 5.08 angstrom is the one number that was fitted.
    """
    celsius = COLUMNS[column]
    water = 87.740 - 0.40008 * celsius + 9.398e-4 * celsius**2 - 1.410e-6 * celsius**3
    eps_t = water * (1.0 - 0.0074 * PERCENT_MASS[alcohol]) * (celsius + 273.15)
    root = sqrt(0.038)
    lowered = 1.8246e6 * eps_t**-1.5 * root / (1.0 + 50.29 * eps_t**-0.5 * 5.08 * root)
    assert TABLE_I[alcohol][column] - lowered == pytest.approx(OIV_PK[alcohol // 5][column], abs=0.0008)


@pytest.mark.parametrize(
    ("ph", "celsius", "percents"),
    [
        (2.8, 20, {0: 7.73, 5: 9.46, 10: 11.55, 15: 14.07, 20: 17.09}),
        (3.2, 20, {0: 3.23, 5: 3.99, 10: 4.94, 15: 6.12, 20: 7.58}),
        (3.6, 20, {0: 1.31, 5: 1.63, 10: 2.03, 15: 2.53, 20: 3.16}),
        (2.8, 30, {0: 18.05, 10: 24.49, 20: 35.36}),
        (3.2, 30, {0: 8.06, 10: 11.44, 20: 17.88}),
        (3.6, 30, {0: 3.37, 10: 4.89, 20: 7.98}),
    ],
)
def test_percentages_of_table_iii(ph: float, celsius: float, percents: dict[int, float]) -> None:
    """OIV-MA-AS323-04C, table III: table II by the equation. The printed table may differ by 0.02 in the last digit."""
    for alcohol, percent in percents.items():
        assert 100.0 * oiv_pk(alcohol, celsius).fraction(ph) == pytest.approx(percent, abs=0.006)


def test_between_the_cells_it_is_the_pk_that_is_interpolated() -> None:
    """12 % vol and 22 °C: (1.916 x 0.6 + 2.014 x 0.4) at 20 °C, (2.116 x 0.6 + 2.216 x 0.4) at 25 °C, two fifths on."""
    assert oiv_pk(12.0, 20.0).value == pytest.approx(1.9552)
    assert oiv_pk(12.0, 22.0).value == pytest.approx(1.9552 + 0.4 * (2.156 - 1.9552))


def test_how_far_the_models_are_apart() -> None:
    """At 20 °C a wine of 12 % vol has 40 % more by OIV; at 25 °C and 14 % vol 2.4 times as much."""
    assert 10.0 ** (oiv_pk(12.0, 20.0).value - SIMPLE_PK) == pytest.approx(1.40, abs=0.005)
    assert 10.0 ** (oiv_pk(14.0, 25.0).value - SIMPLE_PK) == pytest.approx(2.4, abs=0.05)


@pytest.mark.parametrize(
    ("celsius", "pk_water"),
    [(5, 1.668), (8, 1.693), (10, 1.711), (12, 1.729), (15, 1.757), (18, 1.786), (20, 1.806), (25, 1.857), (30, 1.910)],
)
def test_the_calorimetric_shift(celsius: float, pk_water: float) -> None:
    """Goldberg and Parker 1985: pK 1.857 (K = 0.0139) in water at 25 °C, dH -17.80 kJ/mol, dCp -272 J/(mol K)."""
    assert 1.806 + calorimetric_shift(celsius) == pytest.approx(pk_water, abs=0.0011)
    assert -log10(0.0139) == pytest.approx(1.857, abs=5e-4)


def test_in_a_cool_cellar_the_table_is_extrapolated_and_says_so() -> None:
    """12 % vol, 12 °C, pH 3.45, 30 mg/L free: 0.78 mg/L, 0.70 to 0.88 at two standard uncertainties; simple: 0.67."""
    pk = oiv_pk(12.0, 12.0)
    found = molecular_so2(30.0, 3.45, pk)
    assert pk.value == pytest.approx(1.878, abs=6e-4)
    assert (pk.u, pk.extrapolated, pk.name) == (0.025, True, "OIV, extrapolated")
    assert found.mg_l == pytest.approx(0.78, abs=5e-3)
    assert found.u_mg_l == pytest.approx(0.045, abs=2e-3)
    assert found.pk is pk
    assert molecular_so2(30.0, 3.45, TRADE_PK).mg_l == pytest.approx(0.67, abs=5e-3)
    # The table continued in a straight line would halve it.
    assert molecular_so2(30.0, 3.45, simple_pk(1.955 - 8.0 * 0.0401)).mg_l == pytest.approx(0.45, abs=0.005)


def test_the_extrapolation_meets_the_table_at_20_degrees() -> None:
    assert oiv_pk(12.0, 20.0 - 1e-9).value == pytest.approx(oiv_pk(12.0, 20.0).value)
    assert oiv_pk(12.0, 20.0 - 1e-9).extrapolated


# ---- uncertainty ---------------------------------------------------------------------------------------------------


def test_a_tenth_of_ph_is_a_quarter_of_it() -> None:
    found = molecular_so2(30.0, 3.5, TRADE_PK, u_ph=0.1)
    assert found.u_mg_l / found.mg_l == pytest.approx(0.23, abs=0.01)
    assert molecular_so2(30.0, 3.4, TRADE_PK).mg_l / found.mg_l == pytest.approx(1.25, abs=0.01)


@given(free=st.floats(1.0, 100.0), ph=st.floats(2.8, 4.2), alcohol=st.floats(8.0, 16.0), celsius=st.floats(0.0, 18.0))
def test_uncertainties_are_those_of_small_steps(free: float, ph: float, alcohol: float, celsius: float) -> None:
    """u^2 = sum of (change by one u of each input)^2, worked out by stepping each of them."""
    u_free, u_ph, u_alcohol, u_celsius = 0.5, 0.005, 0.1, 0.2
    pk = oiv_pk(alcohol, celsius, u_alcohol, u_celsius)

    def at(free: float, ph: float, pk: Pk) -> float:
        return molecular_so2(free, ph, pk).mg_l

    steps = [
        at(free + u_free, ph, pk) - at(free - u_free, ph, pk),
        at(free, ph + u_ph, pk) - at(free, ph - u_ph, pk),
        at(free, ph, simple_pk(pk.value + 0.025)) - at(free, ph, simple_pk(pk.value - 0.025)),
        at(free, ph, oiv_pk(alcohol + u_alcohol, celsius)) - at(free, ph, oiv_pk(alcohol - u_alcohol, celsius)),
        at(free, ph, oiv_pk(alcohol, celsius + u_celsius)) - at(free, ph, oiv_pk(alcohol, celsius - u_celsius)),
    ]
    whole = sqrt(sum((step / 2.0) ** 2 for step in steps))
    found = molecular_so2(free, ph, pk, u_free_mg_l=u_free, u_ph=u_ph)
    assert found.u_mg_l == pytest.approx(whole, rel=0.01)
    needed = free_needed(found.mg_l, ph, pk, u_ph=u_ph)
    assert needed.u_mg_l / needed.mg_l == pytest.approx(
        molecular_so2(free, ph, pk, u_ph=u_ph).u_mg_l / found.mg_l, rel=1e-9
    )


# ---- of any wine ---------------------------------------------------------------------------------------------------


@given(free=FREE, ph=PH, pk=PKS)
def test_it_is_finite_and_between_nothing_and_the_free(free: float, ph: float, pk: Pk) -> None:
    found = molecular_so2(free, ph, pk, u_free_mg_l=1.5, u_ph=0.05)
    assert 0.0 <= found.mg_l <= free
    assert 0.0 < found.fraction < 1.0
    assert 0.0 < found.u_mg_l < inf


@given(target=st.floats(0.01, 2.0), ph=PH, pk=PKS)
def test_the_inverse_of_the_inverse(target: float, ph: float, pk: Pk) -> None:
    needed = free_needed(target, ph, pk)
    if needed.mg_l <= 400.0:
        assert molecular_so2(needed.mg_l, ph, pk).mg_l == pytest.approx(target)


@given(first=PH, second=PH, pk=PKS)
def test_more_ph_means_less_of_it(first: float, second: float, pk: Pk) -> None:
    low, high = sorted((first, second))
    assert pk.fraction(low) >= pk.fraction(high)
    assert free_needed(0.6, low, pk).mg_l <= free_needed(0.6, high, pk).mg_l


@given(alcohol=ALCOHOL, first=CELSIUS, second=CELSIUS)
def test_a_warmer_wine_has_more_of_it(alcohol: float, first: float, second: float) -> None:
    low, high = sorted((first, second))
    assert oiv_pk(alcohol, low).value <= oiv_pk(alcohol, high).value + 1e-12


@given(celsius=CELSIUS, first=ALCOHOL, second=ALCOHOL)
def test_a_stronger_wine_has_more_of_it(celsius: float, first: float, second: float) -> None:
    low, high = sorted((first, second))
    assert oiv_pk(low, celsius).value <= oiv_pk(high, celsius).value + 1e-12


@pytest.mark.parametrize("celsius", [-5.0, 0.0, 19.9, 20.0, 30.0, 40.0])
@pytest.mark.parametrize("alcohol", [0.0, 10.0, 20.0])
def test_uncertainty_reaches_the_corners(alcohol: float, celsius: float) -> None:
    assert 0.0 < oiv_pk(alcohol, celsius, 0.2, 0.5).u < 0.04


@pytest.mark.parametrize("ph", [0.0, 2.49, 4.51, 7.0, -3.4, nan, inf])
def test_a_ph_that_no_wine_has(ph: float) -> None:
    for work in (lambda: molecular_so2(30.0, ph, TRADE_PK), lambda: free_needed(0.6, ph, TRADE_PK)):
        with pytest.raises(OutOfRange, match=r"pH .* is out of range; wine has 2.5 to 4.5"):
            work()


@pytest.mark.parametrize(("alcohol", "celsius"), [(-0.1, 20), (20.1, 20), (nan, 20), (12, -5.1), (12, 40.1), (12, inf)])
def test_outside_the_oiv_model(alcohol: float, celsius: float) -> None:
    with pytest.raises(OutOfRange, match="is out of range"):
        oiv_pk(alcohol, celsius)


@pytest.mark.parametrize("free", [-0.1, 400.1, nan, inf])
def test_free_so2_that_no_wine_has(free: float) -> None:
    with pytest.raises(OutOfRange, match="wine has 0 to 400 mg/L"):
        molecular_so2(free, 3.4, TRADE_PK)


@pytest.mark.parametrize("target", [0.0, -0.6, 101.0, nan])
def test_a_target_that_nobody_has(target: float) -> None:
    with pytest.raises(OutOfRange, match="molecular target"):
        free_needed(target, 3.4, TRADE_PK)


def test_a_pk_that_is_none() -> None:
    with pytest.raises(OutOfRange, match=r"published ones go 1 to 3"):
        simple_pk(18.1)
