"""The formulas of the simulation against published numbers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.simulation.physics import (
    GAS_CONSTANT,
    ZERO_C,
    cylinder_moles,
    cylinder_pressure_kpa,
    leak_conductance,
    nitrogen_in_wine,
    station_pressure_kpa,
    vapour_pressure_kpa,
    wine_volume_ratio,
)


def test_wine_expands_as_oiml_r22_says() -> None:
    # Densities at 12 % vol between the table's points, from the full formula of OIML R 22 (1975), kg/m³.
    for wine_c, density in ((2.5, 985.1010), (7.5, 984.7123), (12.5, 983.9909), (27.5, 980.1337)):
        assert wine_volume_ratio(wine_c) == pytest.approx(982.3548 / density, abs=2e-6)
    assert wine_volume_ratio(20.0) == pytest.approx(1.0, abs=1e-12)
    # The expansion coefficient triples between 5 and 20 °C: 79e-6 and 264e-6 per K.
    for wine_c, alpha in ((5.0, 79e-6), (15.0, 208e-6), (20.0, 264e-6)):
        slope = (wine_volume_ratio(wine_c + 0.5) - wine_volume_ratio(wine_c - 0.5)) / wine_volume_ratio(wine_c)
        assert slope == pytest.approx(alpha, abs=1.5e-6)


@pytest.mark.parametrize("wine_c", [-0.1, 30.1, float("nan")])
def test_wine_out_of_range_is_refused(wine_c: float) -> None:
    with pytest.raises(ValueError, match="from 0 to 30 °C"):
        wine_volume_ratio(wine_c)


def test_vapour_over_wine() -> None:
    # Alduchov and Eskridge (1996) for water, Sander's Henry constant for ethanol, 12 % vol, kPa.
    for wine_c, kpa in ((0.0, 0.74), (5.0, 1.07), (10.0, 1.53), (15.0, 2.15), (20.0, 2.99), (30.0, 5.60)):
        assert vapour_pressure_kpa(wine_c) == pytest.approx(kpa, abs=0.01)


def test_nitrogen_dissolves_as_the_guideline_says() -> None:
    # Litres of gas space that one litre of wine is worth, f H R T, from IAPWS G7-04 and a wine factor of 0.90.
    for wine_c, litres in ((5.0, 0.0188), (10.0, 0.0175), (15.0, 0.0163), (20.0, 0.0152), (25.0, 0.0142)):
        assert nitrogen_in_wine(wine_c) * GAS_CONSTANT * (wine_c + ZERO_C) == pytest.approx(litres, abs=6e-5)


def test_station_pressure_of_the_standard_atmosphere() -> None:
    for metres, kpa in ((0, 101.33), (250, 98.36), (500, 95.46), (1000, 89.88), (2500, 74.68)):
        assert station_pressure_kpa(metres) == pytest.approx(kpa, abs=0.006)
    with pytest.raises(ValueError, match="from -500 to 11000 m"):
        station_pressure_kpa(12_000)


def test_nitrogen_cylinder_against_span_2000() -> None:
    # Compressibility of nitrogen, Span et al., J. Phys. Chem. Ref. Data 29, 1361 (2000).
    table = ((1.0, 20.0, 0.9978), (5.0, 10.0, 0.9896), (10.0, 20.0, 1.0008), (15.0, 20.0, 1.0205), (15.0, 10.0, 1.0119))
    for mpa, gas_c, z in table:
        moles = mpa * 1000.0 * 10.0 / (z * GAS_CONSTANT * (gas_c + ZERO_C))
        assert cylinder_pressure_kpa(moles, 10.0, gas_c) == pytest.approx(mpa * 1000.0, rel=0.005)
    # 15.0 MPa at 20 °C reads 14.32 at 10 °C.
    moles = cylinder_moles(15_000.0, 10.0, 20.0)
    assert cylinder_pressure_kpa(moles, 10.0, 10.0) == pytest.approx(14_320.0, abs=40.0)


@given(st.floats(50.0, 20_000.0), st.floats(1.0, 50.0), st.floats(0.0, 30.0))
def test_cylinder_moles_invert_its_pressure(kpa: float, litres: float, gas_c: float) -> None:
    assert cylinder_pressure_kpa(cylinder_moles(kpa, litres, gas_c), litres, gas_c) == pytest.approx(kpa, rel=1e-9)


def test_leak_conductance_is_the_published_slope() -> None:
    # 1 mL/min (0 °C, 101.325 kPa) out of 2 L is 3.26 kPa/h at the start.
    mol_per_s = 1e-3 / 22.414 / 60.0
    hour = 3600.0
    kpa_per_h = mol_per_s * hour * GAS_CONSTANT * 288.15 / 2.0
    assert kpa_per_h == pytest.approx(3.2, abs=0.1)
    within_s = 0.01 / kpa_per_h * hour
    conductance = leak_conductance(from_kpa=55.0, to_kpa=54.99, within_s=within_s, headspace_l=2.0, gas_c=15.0)
    assert conductance * 55.0 == pytest.approx(mol_per_s, rel=1e-3)


@pytest.mark.parametrize(("start", "end", "seconds"), [(5.0, 55.0, 10.0), (55.0, 0.0, 10.0), (55.0, 5.0, 0.0)])
def test_leaks_that_cannot_be_are_refused(start: float, end: float, seconds: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        leak_conductance(from_kpa=start, to_kpa=end, within_s=seconds, headspace_l=1.0, gas_c=15.0)
