"""Values, times and ages as people read them."""

from __future__ import annotations

__all__ = ["age", "local_time", "quantity_name", "unit_name", "value_text"]

from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from ingest.cellar import QUANTITIES, value_in_unit

# The unit of each quantity for `[site] units = "us"`, with its decimals; metric is the unit inside.
_US: Final = {"temperature": ("°F", 1), "pressure": ("psi", 2), "barometric_pressure": ("psi", 2)}

_MANY_DIGITS: Final = 1000.0


def unit_name(quantity: str, units: str) -> str:
    """The unit that a person of ``units`` ("metric" or "us") expects for a quantity; "" for pH, whose name says it."""
    if quantity == "pH":
        return ""
    if units == "us" and quantity in _US:
        return _US[quantity][0]
    return QUANTITIES[quantity].unit


def value_text(quantity: str, value: float, units: str) -> str:
    """A value (in the quantity's unit) with its unit and as many digits as mean something."""
    if units == "us" and quantity in _US:
        unit, decimals = _US[quantity]
        return f"{_plain(value_in_unit(quantity, value, unit), decimals)} {unit}"
    row = QUANTITIES[quantity]
    unit = unit_name(quantity, units)
    return f"{_plain(value, row.decimals)} {unit}".rstrip()


def _plain(value: float, decimals: int) -> str:
    # A gas cylinder at 14680 kPa has no tenths worth reading.
    text = f"{value:.{decimals if abs(value) < _MANY_DIGITS else 0}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def quantity_name(quantity: str) -> str:
    """The quantity's name as a person writes it."""
    return quantity.replace("_", " ")


def local_time(at_ms: int, zone: ZoneInfo, now_ms: int) -> str:
    """A moment in the cellar's own time: the time of day, with the date unless it is today, and the zone's name."""
    moment = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone)
    today = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone).date()
    form = "%H:%M:%S %Z" if moment.date() == today else "%Y-%m-%d %H:%M %Z"
    return moment.strftime(form)


def age(span_ms: int) -> str:
    """How long ago: "4 s", "3 min", "5 h", "2 d"; a moment in the future counts as now."""
    seconds = max(0, span_ms) // 1000
    for size, unit in ((86_400, "d"), (3_600, "h"), (60, "min")):
        if seconds >= 2 * size or (unit == "min" and seconds >= 90):
            return f"{seconds // size} {unit}"
    return f"{seconds} s"
