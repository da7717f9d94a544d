"""Two tables of quantities: what a probe can measure, and what leeside judges from what is known of wine and gas.

For each: unit inside, plausible range, where it can be measured or judged. A judged quantity has no probe. Its numbers
reach a limit as if they were readings of a probe whose id is ``judged_id``.
"""

from __future__ import annotations

__all__ = [
    "JUDGED_NAMES",
    "JUDGED_QUANTITIES",
    "LIMIT_QUANTITIES",
    "NOT_FORESEEN_H",
    "PLACE_KINDS",
    "QUANTITIES",
    "QUANTITY_NAMES",
    "JudgedName",
    "JudgedQuantity",
    "PlaceKind",
    "Quantity",
    "QuantityName",
    "difference_in_unit",
    "is_judged_id",
    "judged_id",
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
JudgedName = Literal[
    "molecular_so2",
    "free_so2",
    "total_so2",
    "compensated_pressure",
    "leak_rate",
    "gas_gain_rate",
    "hours_to_air_floor",
    "hours_to_air_floor_by_cold",
    "cylinder_days_left",
]
PlaceKind = Literal["keg", "carboy", "barrel", "tank", "bottle", "cylinder", "room"]

QUANTITY_NAMES: Final[tuple[str, ...]] = typing.get_args(QuantityName)
JUDGED_NAMES: Final[tuple[str, ...]] = typing.get_args(JudgedName)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedQuantity(Quantity):
    """A quantity that no probe measures: leeside works its number out, with a finding.

    of: "wine" for a number of the wine in a vessel, which a limit may name by its lot; "place" for one of a vessel or
    cylinder itself. meaning: which number it is, where several could be meant.
    """

    of: Literal["wine", "place"]
    meaning: str


def _judged(
    name: str,
    unit: str,
    dimension: Dimension,
    *,
    high: float,
    decimals: int,
    example: str,
    step: str,
    source: str,
    meaning: str,
    elsewhere: str = "only a vessel has a blanket",
    places: frozenset[str] = _VESSELS,
    of: Literal["wine", "place"] = "place",
) -> JudgedQuantity:
    """Make the row of a quantity from 0 to ``high`` of which a difference has the same dimension."""
    return JudgedQuantity(
        name=name,
        unit=unit,
        dimension=dimension,
        difference=dimension,
        pressure=None,
        plausible_low=0.0,
        plausible_high=high,
        resolution=10.0**-decimals,
        decimals=decimals,
        places=places,
        example=example,
        deadband_example=step,
        elsewhere=elsewhere,
        source=source,
        of=of,
        meaning=meaning,
    )


def _so2(name: str, *, high: float, decimals: int, example: str, step: str, meaning: str) -> JudgedQuantity:
    return _judged(
        name,
        "mg/L",
        Dimension.CONCENTRATION,
        high=high,
        decimals=decimals,
        example=example,
        step=step,
        source="low end: none; high end: far beyond every legal limit on wine (common practice, no source)",
        meaning=meaning,
        elsewhere="only wine in a vessel has it",
        of="wine",
    )


def _gas_flow(name: str, *, meaning: str) -> JudgedQuantity:
    return _judged(
        name,
        "mL/min",
        Dimension.GAS_FLOW,
        high=100_000.0,
        decimals=2,
        example="0.5 mL/min",
        step="0.1 mL/min",
        source="high end: more than a keg's open valve lets through (common practice, no source)",
        meaning=f"{meaning}, at 0 °C and 101.325 kPa: the lower end of the range",
    )


def _hours(name: str, *, meaning: str) -> JudgedQuantity:
    return _judged(
        name,
        "h",
        Dimension.TIME,
        high=100_000.0,
        decimals=1,
        example="24 h",
        step="2 h",
        source="high end: eleven years, longer than wine rests under gas (common practice, no source)",
        meaning=f"{meaning}: the lower end of the range",
    )


# What the hours until the air floor are where nothing is foreseen that leads to it: more than a year.
NOT_FORESEEN_H: Final = 10_000.0

JUDGED_QUANTITIES: Final[dict[str, JudgedQuantity]] = {
    "molecular_so2": _so2(
        "molecular_so2",
        high=20.0,
        decimals=2,
        example="0.6 mg/L",
        step="0.05 mg/L",
        meaning="molecular sulfur dioxide as it is now, by the estimate between titrations",
    ),
    "free_so2": _so2(
        "free_so2",
        high=500.0,
        decimals=0,
        example="40 mg/L",
        step="2 mg/L",
        meaning="free sulfur dioxide as it is now, by the estimate between titrations",
    ),
    "total_so2": _so2(
        "total_so2",
        high=1000.0,
        decimals=0,
        example="150 mg/L",
        step="5 mg/L",
        meaning="total sulfur dioxide by what was titrated and added",
    ),
    "compensated_pressure": JudgedQuantity(
        name="compensated_pressure",
        unit="kPa",
        dimension=Dimension.PRESSURE,
        difference=Dimension.PRESSURE,
        pressure="gauge",
        plausible_low=-100.0,
        plausible_high=1000.0,
        resolution=0.1,
        decimals=1,
        places=_VESSELS,
        example="20 kPa",
        deadband_example="3 kPa",
        elsewhere="only a vessel has a blanket",
        source="as for a vessel's pressure",
        of="place",
        meaning="gauge pressure that the gas over the wine would have at the reference temperature",
    ),
    "leak_rate": _gas_flow("leak_rate", meaning="gas that is certainly lost"),
    "gas_gain_rate": _gas_flow("gas_gain_rate", meaning="gas that certainly comes in, from the wine or the supply"),
    "hours_to_air_floor": _hours(
        "hours_to_air_floor", meaning="time until gas that is lost brings the gauge below the air floor"
    ),
    "hours_to_air_floor_by_cold": _hours(
        "hours_to_air_floor_by_cold", meaning="time until cold alone brings the gauge below the air floor"
    ),
    "cylinder_days_left": _judged(
        "cylinder_days_left",
        "d",
        Dimension.TIME,
        high=10_000.0,
        decimals=1,
        example="7 d",
        step="1 d",
        source="high end: longer than the interval between tests of a cylinder (common practice, no source)",
        meaning="time until the cylinder is empty at the present rate of use: the lower end of the range",
        elsewhere="only a gas cylinder runs empty",
        places=frozenset({"cylinder"}),
    ),
}

# All that a limit on a value may be on.
LIMIT_QUANTITIES: Final[dict[str, Quantity]] = {**QUANTITIES, **JUDGED_QUANTITIES}


def judged_id(place: str, quantity: str) -> str:
    """Make the id under which the numbers of a judged quantity at a place reach its limits; no probe can have it,
    since an id has no slash.
    """
    return f"{place}/{quantity}"


def is_judged_id(probe: str) -> bool:
    """Whether an id is one that ``judged_id`` makes."""
    return "/" in probe


def plausible_range(quantity: str, place_kind: str) -> tuple[float, float]:
    """Give (low, high) in the quantity's unit; a number outside is a fault of instrument or wiring, not of the wine."""
    row = LIMIT_QUANTITIES[quantity]
    return row.by_kind.get(place_kind, (row.plausible_low, row.plausible_high))


def series_unit_conversion(quantity: str, unit_text: str) -> tuple[float, float]:
    """Give (gain, offset) that turns a number in ``unit_text`` into the quantity's unit: gain x number + offset.

    What a pressure is counted from is not changed here: an absolute reading stays absolute.
    Raises UnitError (a ValueError) that lists the allowed units.
    """
    row = LIMIT_QUANTITIES[quantity]
    return conversion(row.dimension, unit_text, row.unit)


def value_in_unit(quantity: str, value: float, unit_text: str) -> float:
    """Turn a value in the quantity's unit into ``unit_text``, for a person who thinks in that."""
    gain, offset = series_unit_conversion(quantity, unit_text)
    return (value - offset) / gain


def difference_in_unit(quantity: str, difference: float, unit_text: str) -> float:
    """Turn a difference in the quantity's unit into ``unit_text``: 5 °C apart are 9 °F apart."""
    row = LIMIT_QUANTITIES[quantity]
    gain, _ = conversion(row.difference, row.unit, unit_text)
    return gain * difference
