"""The table of quantities that a probe can measure: unit inside, plausible range, where it can be measured."""

from __future__ import annotations

__all__ = [
    "PLACE_KINDS",
    "QUANTITIES",
    "QUANTITY_NAMES",
    "PlaceKind",
    "Quantity",
    "QuantityName",
    "plausible_range",
    "series_unit_conversion",
    "value_in_unit",
]

import typing
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from ingest.cellar.amounts import PressureKind
from ingest.cellar.units import Dimension, conversion

QuantityName = Literal["temperature", "pressure", "barometric_pressure", "pH"]
PlaceKind = Literal["keg", "carboy", "barrel", "tank", "bottle", "cylinder", "room"]

QUANTITY_NAMES: Final[tuple[str, ...]] = typing.get_args(QuantityName)
PLACE_KINDS: Final[tuple[str, ...]] = typing.get_args(PlaceKind)

_VESSELS: Final = frozenset({"keg", "carboy", "barrel", "tank", "bottle"})


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity.

    unit: the unit inside leeside; difference: the dimension of a difference of it; pressure: what a pressure is counted
    from; plausible_low, plausible_high: outside of these (in ``unit``) an instrument or its wiring is at fault;
    by_kind: other plausible ranges at some kinds of place; resolution: the step worth showing; decimals: digits shown
    after the point; places: the kinds of place where it can be measured; example, deadband_example: how an amount of it
    and a difference are written;
    elsewhere: what to do instead at other places; source: where the numbers come from; jump: a change within a minute
    that the thing measured cannot make (common practice, no source), None where it can change at once, as a pressure
    does when a valve opens."""

    name: str
    unit: str
    dimension: Dimension
    difference: Dimension
    pressure: PressureKind | None
    plausible_low: float
    plausible_high: float
    resolution: float
    decimals: int
    places: frozenset[str]
    example: str
    deadband_example: str
    elsewhere: str
    source: str
    jump: float | None = None
    by_kind: Mapping[str, tuple[float, float]] = field(default_factory=dict)


QUANTITIES: Final[dict[str, Quantity]] = {
    "temperature": Quantity(
        name="temperature",
        unit="°C",
        dimension=Dimension.TEMPERATURE,
        difference=Dimension.TEMPERATURE_DIFFERENCE,
        pressure=None,
        plausible_low=-30.0,
        plausible_high=60.0,
        resolution=0.1,
        decimals=1,
        places=_VESSELS | {"cylinder", "room"},
        example="12 °C",
        deadband_example="0.5 °C",
        elsewhere="",
        source="common practice, no source: an outhouse in winter to a vessel that is being steamed",
        jump=5.0,
    ),
    "pressure": Quantity(
        name="pressure",
        unit="kPa",
        dimension=Dimension.PRESSURE,
        difference=Dimension.PRESSURE,
        pressure="gauge",
        plausible_low=-100.0,
        plausible_high=1000.0,
        resolution=0.1,
        decimals=1,
        places=_VESSELS | {"cylinder"},
        example="8 psi",
        deadband_example="1 kPa",
        elsewhere='the air of a room has "barometric_pressure"',
        source="low end: a full vacuum; high end: beyond what beverage kegs are stamped with (common practice, no "
        "source); at a cylinder: beyond a 300 bar filling at 15 °C, warm",
        by_kind={"cylinder": (0.0, 35000.0)},
    ),
    "barometric_pressure": Quantity(
        name="barometric_pressure",
        unit="kPa",
        dimension=Dimension.PRESSURE,
        difference=Dimension.PRESSURE,
        pressure="absolute",
        plausible_low=50.0,
        plausible_high=110.0,
        resolution=0.01,
        decimals=2,
        places=frozenset({"room"}),
        example="1013 hPa",
        deadband_example="1 hPa",
        elsewhere='a vessel or a cylinder has "pressure"',
        source="ISO 2533 standard atmosphere: 54 kPa at 5000 m; highest sea-level pressures on record are near 108 kPa",
    ),
    "pH": Quantity(
        name="pH",
        unit="pH",
        dimension=Dimension.PH,
        difference=Dimension.PH,
        pressure=None,
        plausible_low=0.0,
        plausible_high=14.0,
        resolution=0.01,
        decimals=2,
        places=_VESSELS,
        example="3.5 pH",
        deadband_example="0.05 pH",
        elsewhere="only a vessel has a pH",
        source="the scale of aqueous glass electrodes",
        jump=0.5,
    ),
}


def plausible_range(quantity: str, place_kind: str) -> tuple[float, float]:
    """Give (low, high) in the quantity's unit; a number outside is a fault of instrument or wiring, not of the wine."""
    row = QUANTITIES[quantity]
    return row.by_kind.get(place_kind, (row.plausible_low, row.plausible_high))


def series_unit_conversion(quantity: str, unit_text: str) -> tuple[float, float]:
    """Give (gain, offset) that turns a number in ``unit_text`` into the quantity's unit: gain x number + offset.

    What a pressure is counted from is not changed here: an absolute reading stays absolute.
    Raises UnitError (a ValueError) that lists the allowed units.
    """
    row = QUANTITIES[quantity]
    return conversion(row.dimension, unit_text, row.unit)


def value_in_unit(quantity: str, value: float, unit_text: str) -> float:
    """Turn a value in the quantity's unit into ``unit_text``, for a person who thinks in that."""
    gain, offset = series_unit_conversion(quantity, unit_text)
    return (value - offset) / gain
