"""How much gas stands ready in a cylinder or a vessel: by what was read or weighed last, else the most it can hold.

Litres are at 15 °C and 101.325 kPa. What nobody measured counts as full, since it is asked for the worst case of a
room's air and must not be too little.
"""

from __future__ import annotations

__all__ = ["Basis", "GasStock", "NewestNumber", "RoomGas", "cylinder_stock", "vessel_stock"]

from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

from alerts.errors import OutOfRange
from alerts.gas.compressibility import CYLINDER_TEMPERATURE_RANGE
from alerts.gas.cylinder import RESERVE_KPA, WATER_VOLUME_RANGE, cylinder_content
from alerts.gas.gases import ASSUMED_C, ATMOSPHERE_KPA, R_KPA_L_MOL_K, STANDARD_L_MOL, BlanketGas, kelvin
from alerts.gas.over_wine import gas_solubility
from alerts.gas.room import ROOM_RANGE, RoomAir, room_air
from alerts.gas.wine_density import TEMPERATURE_RANGE

Basis = Literal["pressure", "weight", "full"]
"""From what an amount is known. ``full``: from nothing, so the most that a cylinder or vessel holds."""

# A full cylinder of nitrogen or argon (the usual filling pressure in Europe; common practice, no source).
_FULL_KPA: Final = 20_000.0
_FULL_C: Final = 15.0
# Carbon dioxide in a full cylinder [kg per litre of water volume] (ADR packing instruction P200, from memory).
_FULL_CARBON_DIOXIDE_KG_L: Final = 0.75
# As cold as a cellar gets.
_COLD_C: Final = 0.0


class NewestNumber(NamedTuple):
    """A number and when it was read [UTC ms]."""

    value: float
    at_ms: int


@dataclass(frozen=True, slots=True)
class GasStock:
    """The gas in a cylinder or vessel, in L at 15 °C and 101.325 kPa.

    place: its id; usable_l: what the regulator can still deliver, None where that is not known; basis: from what it is
    known; at_ms: when that was read, UTC ms; temperature_known: False where 15 °C was assumed.
    """

    place: str
    gas: BlanketGas
    litres: float
    usable_l: float | None
    basis: Basis
    at_ms: int | None = None
    is_cylinder: bool = True
    temperature_known: bool = True


@dataclass(frozen=True, slots=True)
class RoomGas:
    """The gas that can empty into a room. room: its id, "" where the place names none; volume_m3: None if not known."""

    room: str
    volume_m3: float | None
    stocks: tuple[GasStock, ...]

    def worst(self) -> tuple[GasStock, RoomAir] | None:
        """Find the stock that is worst for the room's air, and that air; None without a volume or a stock."""
        volume_m3 = self.volume_m3
        if volume_m3 is None or not self.stocks:
            return None
        airs = [(stock, room_air(ROOM_RANGE.nearest(volume_m3), stock.gas, stock.litres)) for stock in self.stocks]
        return max(airs, key=lambda pair: (pair[1].severity, pair[0].litres))


def cylinder_stock(
    place: str,
    gas: BlanketGas,
    water_volume_l: float,
    *,
    pressure_kpa: NewestNumber | None = None,
    temperature_c: float | None = None,
    content_kg: NewestNumber | None = None,
) -> GasStock:
    """Give what a cylinder holds. pressure_kpa: gauge, newest; content_kg: carbon dioxide by the newest weighing.

    Carbon dioxide is known by its weight, unless the pressure shows that nothing liquid is left. A cartridge smaller
    than cylinders are counts as the smallest of them.
    """
    water_volume_l = WATER_VOLUME_RANGE.nearest(water_volume_l)
    known = temperature_c is not None
    celsius = CYLINDER_TEMPERATURE_RANGE.nearest(ASSUMED_C if temperature_c is None else temperature_c)
    reserve_l = _litres(gas, water_volume_l, RESERVE_KPA, celsius) or 0.0
    by_pressure = None if pressure_kpa is None else _litres(gas, water_volume_l, pressure_kpa.value, celsius)
    if gas.name == "carbon dioxide" and pressure_kpa is not None and not known:
        # A cold cylinder may hold liquid at a pressure that would be all gas where it is warmer.
        by_pressure = _litres(gas, water_volume_l, pressure_kpa.value, _COLD_C)
    if pressure_kpa is not None and by_pressure is not None:
        usable_l = max(0.0, by_pressure - reserve_l)
        return GasStock(place, gas, by_pressure, usable_l, "pressure", pressure_kpa.at_ms, temperature_known=known)
    if gas.name == "carbon dioxide":
        if content_kg is not None:
            litres = _litres_of_kg(gas, max(0.0, content_kg.value))
            return GasStock(place, gas, litres, max(0.0, litres - reserve_l), "weight", content_kg.at_ms)
        return GasStock(place, gas, _litres_of_kg(gas, _FULL_CARBON_DIOXIDE_KG_L * water_volume_l), None, "full")
    full_l = _litres(gas, water_volume_l, _FULL_KPA, _FULL_C)
    assert full_l is not None
    return GasStock(place, gas, full_l, None, "full")


def vessel_stock(
    place: str,
    gas: BlanketGas,
    capacity_l: float,
    wine_l: float | None,
    *,
    pressure_kpa: NewestNumber | None = None,
    temperature_c: float | None = None,
    stamp_kpa: float | None = None,
    barometer_kpa: float = ATMOSPHERE_KPA,
) -> GasStock | None:
    """Give the gas over and in a vessel's wine, or None where its pressure is known from nothing.

    wine_l: None where nobody knows: the larger of a full and an empty vessel counts. Without a pressure that was read
    (kPa gauge) the stamped one counts. The wine is taken to be saturated with the gas, which is the worst case.

        n = p V_gas / (R T) + H p V_wine         p absolute
    """
    gauge = stamp_kpa if pressure_kpa is None else pressure_kpa.value
    if gauge is None:
        return None
    celsius = TEMPERATURE_RANGE.nearest(ASSUMED_C if temperature_c is None else temperature_c)
    absolute = max(0.0, gauge + barometer_kpa)
    per_gas_l = absolute / (R_KPA_L_MOL_K * kelvin(celsius))
    per_wine_l = absolute * gas_solubility(gas, celsius)
    if wine_l is None:
        mol = capacity_l * max(per_gas_l, per_wine_l)
    else:
        mol = max(0.0, capacity_l - wine_l) * per_gas_l + wine_l * per_wine_l
    return GasStock(
        place,
        gas,
        mol * STANDARD_L_MOL,
        None,
        "full" if pressure_kpa is None else "pressure",
        None if pressure_kpa is None else pressure_kpa.at_ms,
        is_cylinder=False,
        temperature_known=temperature_c is not None,
    )


def _litres(gas: BlanketGas, water_volume_l: float, pressure_kpa: float, celsius: float) -> float | None:
    """The content by pressure; None where it does not show it, or where no cylinder has that pressure."""
    try:
        return cylinder_content(gas, water_volume_l, max(0.0, pressure_kpa), celsius).litres
    except OutOfRange as error:
        if error.of != "pressure":
            raise
        return None


def _litres_of_kg(gas: BlanketGas, kg: float) -> float:
    return kg * gas.mol_per_kg * STANDARD_L_MOL
