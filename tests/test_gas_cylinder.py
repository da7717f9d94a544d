"""Cylinders and rooms: published contents, an independent library, properties."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from alerts.errors import OutOfRange
from alerts.gas.cylinder import cylinder_content
from alerts.gas.gases import GASES, STANDARD_L_MOL, BlanketGas, kelvin
from alerts.gas.room import room_air

NITROGEN, ARGON, CARBON_DIOXIDE = GASES.values()


@pytest.mark.parametrize("celsius", [-10.0, 7.0, 20.0, 35.0])
@pytest.mark.parametrize("kpa", [500.0, 4321.0, 15000.0, 20000.0, 30000.0])
@pytest.mark.parametrize(("gas", "name"), [(NITROGEN, "Nitrogen"), (ARGON, "Argon")])
def test_content_against_coolprop(gas: BlanketGas, name: str, kpa: float, celsius: float) -> None:
    mol = PropsSI("Dmolar", "T", kelvin(celsius), "P", (kpa + 101.325) * 1000.0, name) * 0.010
    content = cylinder_content(gas, 10.0, kpa, celsius)
    assert content.mol == pytest.approx(mol, rel=5e-4)
    assert content.litres == pytest.approx(mol * STANDARD_L_MOL, rel=5e-4)
    assert content.kg == pytest.approx(mol * PropsSI("M", name), rel=6e-4)


def test_a_cold_night_uses_no_gas() -> None:
    """15.0 MPa at 20 °C are 14.32 MPa at 10 °C and 13.64 MPa at 0 °C (reference equation of nitrogen)."""
    litres = [
        cylinder_content(NITROGEN, 10.0, mpa * 1000.0 - 101.325, celsius).litres
        for mpa, celsius in ((15.0, 20.0), (14.32, 10.0), (13.64, 0.0))
    ]
    assert litres == [pytest.approx(1426.0, abs=1.5)] * 3


@pytest.mark.parametrize(
    ("kpa", "celsius"), [(5630.0, 20.0), (5400.0, 20.0), (7000.0, 20.0), (3400.0, 0.0), (7000.0, 40.0)]
)
def test_liquid_carbon_dioxide_hides_what_is_left(kpa: float, celsius: float) -> None:
    content = cylinder_content(CARBON_DIOXIDE, 10.0, kpa, celsius)
    assert (content.litres, content.kg, content.mol) == (None, None, None)
    if celsius < 30.0:
        theirs = PropsSI("P", "T", kelvin(celsius), "Q", 0, "CarbonDioxide") / 1000.0 - 101.325
        assert content.vapour_kpa == pytest.approx(theirs, rel=3e-4)


@pytest.mark.parametrize(
    ("kpa", "celsius"), [(500.0, 5.0), (3000.0, 20.0), (5000.0, 20.0), (6500.0, 35.0), (6500.0, 60.0)]
)
def test_carbon_dioxide_that_is_gas_only(kpa: float, celsius: float) -> None:
    mol = PropsSI("Dmolar", "T", kelvin(celsius), "P", (kpa + 101.325) * 1000.0, "CarbonDioxide") * 0.010
    assert cylinder_content(CARBON_DIOXIDE, 10.0, kpa, celsius).mol == pytest.approx(mol, rel=0.035)


@given(
    gas=st.sampled_from([NITROGEN, ARGON]),
    volume=st.floats(0.1, 100.0),
    kpa=st.floats(0.0, 31_000.0),
    celsius=st.floats(-25.0, 59.0),
)
def test_more_pressure_is_more_gas_and_warmer_is_less(
    gas: BlanketGas, volume: float, kpa: float, celsius: float
) -> None:
    mol = cylinder_content(gas, volume, kpa, celsius).mol
    more, warmer = (
        cylinder_content(gas, volume, kpa + 10.0, celsius).mol,
        cylinder_content(gas, volume, kpa, celsius + 1.0).mol,
    )
    assert mol is not None and more is not None and warmer is not None
    assert warmer < mol < more
    assert cylinder_content(gas, 2.0 * volume, kpa, celsius).mol == pytest.approx(2.0 * mol)


@pytest.mark.parametrize(
    ("volume", "kpa", "celsius", "of"),
    [
        (0.0, 1000.0, 20.0, "water volume"),
        (10.0, -1.0, 20.0, "pressure"),
        (10.0, 32_000.0, 20.0, "pressure"),
        (10.0, 15_000.0, 61.0, "temperature"),
        (10.0, 15_000.0, -26.0, "temperature"),
    ],
)
@pytest.mark.parametrize("gas", [NITROGEN, CARBON_DIOXIDE], ids=["N2", "CO2"])
def test_what_a_cylinder_cannot_be(gas: BlanketGas, volume: float, kpa: float, celsius: float, of: str) -> None:
    with pytest.raises(OutOfRange, match="out of range") as caught:
        cylinder_content(gas, volume, kpa, celsius)
    assert caught.value.of == of


@given(room=st.floats(0.1, 1000.0), litres=st.floats(0.0, 1e6), more=st.floats(0.0, 1e5))
def test_more_gas_is_less_oxygen(room: float, litres: float, more: float) -> None:
    air, worse = room_air(room, CARBON_DIOXIDE, litres), room_air(room, CARBON_DIOXIDE, litres + more)
    assert 0.0 <= worse.o2_percent <= air.o2_percent <= 20.95
    assert 0.0 <= air.co2_percent <= worse.co2_percent <= 100.0
    assert air.o2_percent / 20.95 + air.co2_percent / 100.0 == pytest.approx(1.0)
    assert room_air(room, ARGON, litres).co2_percent == 0.0
