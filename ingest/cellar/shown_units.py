"""In which units people see values: ``[site] units`` as one text, and what it says of a quantity. Pure."""

from __future__ import annotations

__all__ = ["read_units", "shown_unit"]

from collections.abc import Mapping
from typing import Final

from ingest.cellar.quantities import LIMIT_QUANTITIES, series_unit_conversion

_SYSTEMS: Final = ("metric", "us")
# What "us" changes; metric is the unit inside.
_US_UNITS: Final = {"temperature": "°F", "pressure": "psi", "barometric_pressure": "psi"}
# What a person may choose: the quantities that have more than one unit in use.
_CHOSEN: Final = ("pressure", "barometric_pressure", "temperature")
_BETWEEN: Final = ";"


def read_units(value: object) -> str:
    """Read ``units`` of the cellar file: "metric", "us", or a table of quantities such as { pressure = "bar" }.

    A table becomes the text "pressure=bar". Raises ValueError that says what is allowed.
    """
    if value in _SYSTEMS:
        return str(value)
    if not isinstance(value, Mapping):
        raise ValueError('allowed: "metric" or "us", or units by quantity, such as { pressure = "bar" }')
    parts = []
    for quantity, unit in value.items():
        if quantity not in _CHOSEN:
            raise ValueError(f"no unit can be chosen for {quantity}; allowed: {', '.join(_CHOSEN)}")
        if not isinstance(unit, str) or _BETWEEN in unit:
            raise ValueError(f'the unit of {quantity} must be text, such as "bar"')
        try:
            series_unit_conversion(quantity, unit)
        except ValueError as error:
            raise ValueError(f"the unit of {quantity}: {error}") from None
        parts.append(f"{quantity}={unit}")
    if not parts:
        raise ValueError('name at least one quantity, such as { pressure = "bar" }')
    return _BETWEEN.join(parts)


def shown_unit(quantity: str, units: str) -> str:
    """Give the unit in which people of these units (as ``read_units`` gives them) see a quantity.

    Compensated pressure follows pressure.
    """
    name = "pressure" if quantity == "compensated_pressure" else quantity
    own = LIMIT_QUANTITIES[quantity].unit
    if units in _SYSTEMS:
        return _US_UNITS.get(name, own) if units == "us" else own
    chosen = dict(part.split("=", 1) for part in units.split(_BETWEEN))
    return chosen.get(name, own)
