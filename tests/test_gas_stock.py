"""How much gas stands ready in cylinders and vessels, and what it does to a room's air at worst."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from alerts.gas.gases import GASES, R_KPA_L_MOL_K, STANDARD_L_MOL, BlanketGas, kelvin
from alerts.gas.over_wine import gas_solubility
from alerts.gas.stock import GasStock, NewestNumber, RoomGas, cylinder_stock, vessel_stock

NITROGEN, ARGON, CARBON_DIOXIDE = GASES.values()
gases = st.sampled_from(list(GASES.values()))


def read(value: float) -> NewestNumber:
    return NewestNumber(value, 1_000)


def litres_by_coolprop(name: str, water_l: float, kpa: float, celsius: float) -> float:
    density = PropsSI("Dmolar", "T", kelvin(celsius), "P", (kpa + 101.325) * 1000.0, name)
    return float(density * water_l / 1000.0 * STANDARD_L_MOL)


def test_a_cylinder_by_its_pressure_less_what_the_regulator_needs() -> None:
    stock = cylinder_stock("N2", NITROGEN, 10.0, pressure_kpa=read(12_000.0), temperature_c=12.0)
    assert stock.litres == pytest.approx(litres_by_coolprop("Nitrogen", 10.0, 12_000.0, 12.0), rel=1e-3)
    reserve_l = litres_by_coolprop("Nitrogen", 10.0, 1000.0, 12.0)
    assert stock.usable_l == pytest.approx(stock.litres - reserve_l, rel=1e-3)
    assert (stock.basis, stock.at_ms, stock.temperature_known) == ("pressure", 1_000, True)


def test_a_cylinder_below_the_reserve_can_deliver_nothing() -> None:
    assert cylinder_stock("N2", NITROGEN, 10.0, pressure_kpa=read(600.0)).usable_l == 0.0
    assert cylinder_stock("N2", NITROGEN, 10.0, pressure_kpa=read(-3.0)).litres == pytest.approx(10.0, rel=0.01)


@pytest.mark.parametrize("kpa", [None, 40_000.0])
def test_what_nobody_measured_counts_as_full(kpa: float | None) -> None:
    """20 MPa at 15 °C; a pressure that no cylinder has counts as none."""
    stock = cylinder_stock("N2", NITROGEN, 10.0, pressure_kpa=None if kpa is None else read(kpa))
    assert stock.litres == pytest.approx(litres_by_coolprop("Nitrogen", 10.0, 20_000.0, 15.0), rel=1e-3)
    assert (stock.basis, stock.usable_l) == ("full", None)


def test_carbon_dioxide_by_its_weight_while_any_of_it_is_liquid() -> None:
    """1 kg is 537 L; the vapour pressure at 20 °C is 5,628 kPa gauge."""
    weighed = cylinder_stock(
        "CO2", CARBON_DIOXIDE, 10.0, pressure_kpa=read(5_600.0), temperature_c=20.0, content_kg=read(4.0)
    )
    assert weighed.basis == "weight"
    assert weighed.litres == pytest.approx(4 * 537.2, abs=2.0)
    full = cylinder_stock("CO2", CARBON_DIOXIDE, 10.0, pressure_kpa=read(5_600.0), temperature_c=20.0)
    assert (full.basis, full.usable_l) == ("full", None)
    assert full.litres == pytest.approx(7.5 * 537.2, abs=4.0)
    nearly_empty = cylinder_stock(
        "CO2", CARBON_DIOXIDE, 10.0, pressure_kpa=read(2_000.0), temperature_c=20.0, content_kg=read(4.0)
    )
    assert nearly_empty.basis == "pressure"
    assert nearly_empty.litres < 300.0


def test_carbon_dioxide_of_unknown_temperature_may_be_cold_and_liquid() -> None:
    """4,000 kPa are all gas at 15 °C, and liquid at 0 °C (3,384 kPa)."""
    assert cylinder_stock("CO2", CARBON_DIOXIDE, 10.0, pressure_kpa=read(4_000.0)).basis == "full"
    assert cylinder_stock("CO2", CARBON_DIOXIDE, 10.0, pressure_kpa=read(2_500.0)).basis == "pressure"


@given(gas=gases, wine_l=st.floats(0.0, 19.5), kpa=st.floats(0.0, 200.0), celsius=st.floats(-5.0, 40.0))
def test_the_gas_of_a_vessel_is_that_over_the_wine_and_in_it(
    gas: BlanketGas, wine_l: float, kpa: float, celsius: float
) -> None:
    stock = vessel_stock("K1", gas, 19.5, wine_l, pressure_kpa=read(kpa), temperature_c=celsius)
    assert stock is not None
    over = (kpa + 101.325) * (19.5 - wine_l) / (R_KPA_L_MOL_K * kelvin(celsius))
    dissolved = gas_solubility(gas, celsius) * (kpa + 101.325) * wine_l
    assert stock.litres == pytest.approx((over + dissolved) * STANDARD_L_MOL)
    unknown = vessel_stock("K1", gas, 19.5, None, pressure_kpa=read(kpa), temperature_c=celsius)
    assert unknown is not None
    assert unknown.litres >= stock.litres * (1.0 - 1e-9)


def test_a_vessel_without_a_pressure_counts_by_its_stamp_or_not_at_all() -> None:
    stamped = vessel_stock("K1", NITROGEN, 19.5, 0.0, stamp_kpa=200.0)
    assert stamped is not None
    assert stamped.basis == "full"
    assert stamped.litres == pytest.approx(19.5 * 301.325 / 101.325, rel=1e-3)
    assert vessel_stock("K1", NITROGEN, 19.5, 0.0) is None


def _stock(gas: BlanketGas, litres: float, place: str) -> GasStock:
    return GasStock(place, gas, litres, None, "pressure")


def test_a_little_carbon_dioxide_is_worse_than_much_nitrogen() -> None:
    """150 L of 30 m³ are 0.5 % carbon dioxide; 1,400 L of nitrogen leave 19.97 % oxygen."""
    room = RoomGas("cellar", 30.0, (_stock(NITROGEN, 1400.0, "N2"), _stock(CARBON_DIOXIDE, 150.0, "CO2")))
    worst = room.worst()
    assert worst is not None
    assert worst[0].place == "CO2"
    assert worst[1].severity == pytest.approx(1.0)


def test_a_room_of_no_known_volume_has_no_worst_case() -> None:
    assert RoomGas("cellar", None, (_stock(NITROGEN, 1400.0, "N2"),)).worst() is None
    assert RoomGas("cellar", 30.0, ()).worst() is None


@given(volume=st.floats(1e-6, 1e5), litres=st.floats(0.0, 1e7), gas=gases)
def test_any_room_and_any_gas_give_some_air(volume: float, litres: float, gas: BlanketGas) -> None:
    worst = RoomGas("cellar", volume, (_stock(gas, litres, "X"),)).worst()
    assert worst is not None
    assert 0.0 <= worst[1].o2_percent <= 20.95
