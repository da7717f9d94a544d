"""Values, times and durations as people read them."""

from __future__ import annotations

__all__ = [
    "age",
    "counted",
    "days_text",
    "duration_text",
    "exact_time",
    "limit_value_text",
    "local_time",
    "long_time",
    "measured_name",
    "missing_words",
    "quality_text",
    "quantity_name",
    "reading_text",
    "setpoint_text",
    "side",
    "unit_name",
    "value_text",
    "with_capital",
]

import math
from datetime import UTC, datetime, tzinfo
from typing import Final

from alerts.watch.own_limits import own_words
from ingest.cellar import (
    LIMIT_QUANTITIES,
    NOT_FORESEEN_H,
    EffectiveLimit,
    difference_in_unit,
    shown_unit,
    value_in_unit,
)

_FLOWS: Final = frozenset({"leak_rate", "gas_gain_rate"})
_HOURS: Final = "hours_to_air_floor"
_NOT_FORESEEN: Final = "not foreseen"
_MANY_DIGITS: Final = 1000.0
# From here on a pressure is read in bar, where nobody has chosen a unit [kPa].
_IN_BAR_KPA: Final = 1000.0
_MORE_DECIMALS: Final = 5


def unit_name(quantity: str, units: str) -> str:
    """The unit that a person of ``units`` (those of the site) expects for a quantity; "" for pH, whose name says it."""
    return "" if quantity == "pH" else _unit_of(quantity, units)


def _unit_of(quantity: str, units: str) -> str:
    return shown_unit(quantity, units)


def value_text(quantity: str, value: float, units: str) -> str:
    """A value (in the quantity's unit) with its unit and as many digits as mean something."""
    if _is_not_foreseen(quantity, value):
        return _NOT_FORESEEN
    unit = _unit_of(quantity, units)
    if unit == "kPa" and abs(value) >= _IN_BAR_KPA:
        unit = "bar"  # 14166 kPa in a gas cylinder is what its gauge shows as 141.7 bar
        return f"{_fixed(value_in_unit(quantity, value, unit), 1)} {unit}"
    number = value_in_unit(quantity, value, unit)
    return f"{_fixed(number, _decimals(quantity, number, unit))} {unit_name(quantity, units)}".rstrip()


def limit_value_text(value: float, limit: EffectiveLimit) -> str:
    """A value in the unit of its limit, with more digits where it would otherwise look equal to the setpoint.

    Of a limit on a rate it is a change.
    """
    if limit.kind == "due":
        return days_text(value)
    if limit.kind == "low" and _is_not_foreseen(limit.quantity, value):
        return _NOT_FORESEEN
    on_value = limit.kind != "no data"  # else the limit's own unit is that of a time
    unit = limit.unit_text if on_value else LIMIT_QUANTITIES[limit.quantity].unit
    in_unit = difference_in_unit if limit.kind == "rate" else value_in_unit
    number = in_unit(limit.quantity, value, unit)
    decimals = _decimals(limit.quantity, number, unit)
    if on_value and value != limit.setpoint:
        setpoint = in_unit(limit.quantity, limit.setpoint, unit)
        choices = range(decimals, decimals + _MORE_DECIMALS)
        differing = (more for more in choices if float(f"{number:.{more}f}") != float(f"{setpoint:.{more}f}"))
        decimals = next(differing, choices[-1])
    return f"{_fixed(number, decimals)} {unit}"


def _is_not_foreseen(quantity: str, value: float) -> bool:
    return quantity.startswith(_HOURS) and value >= NOT_FORESEEN_H


def setpoint_text(limit: EffectiveLimit) -> str:
    """The setpoint of a limit on a value as the cellar file has it: "5 kPa", of a rate "5 K in 1 h"."""
    if limit.kind == "due":
        return days_text(limit.setpoint)
    if limit.kind == "rate":
        change = difference_in_unit(limit.quantity, limit.setpoint, limit.unit_text)
        return f"{change:.6g} {limit.unit_text} in {duration_text(limit.within_s)}"
    return f"{value_in_unit(limit.quantity, limit.setpoint, limit.unit_text):.6g} {limit.unit_text}"


def side(limit: EffectiveLimit) -> str:
    """On which side of its setpoint a value raises the alarm: above or below."""
    return "below" if limit.kind == "low" else "above"


def reading_text(value: float, limit: EffectiveLimit) -> str:
    """A reading of a limit's probe in the limit's unit."""
    if limit.kind != "rate":
        return limit_value_text(value, limit)
    number = value_in_unit(limit.quantity, value, limit.unit_text)
    return f"{_fixed(number, _decimals(limit.quantity, number, limit.unit_text))} {limit.unit_text}"


def _decimals(quantity: str, number: float, unit: str) -> int:
    """How many decimals of a number in this unit mean something."""
    if abs(number) >= _MANY_DIGITS:
        return 0  # a gas cylinder at 14680 kPa has no tenths worth reading
    if quantity in _FLOWS and 0.0 < abs(number) < LIMIT_QUANTITIES[quantity].resolution:
        return math.ceil(-math.log10(abs(number)))  # a flow that is small is still one
    step = abs(value_in_unit(quantity, 1.0, unit) - value_in_unit(quantity, 0.0, unit))
    return max(0, LIMIT_QUANTITIES[quantity].decimals - round(math.log10(step)))


def _fixed(number: float, decimals: int) -> str:
    text = f"{number:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def counted(number: int, one: str, many: str | None = None) -> str:
    """A number with its noun: "1 line", "1,200 entries". many: the plural, where it is not only an s more."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def with_capital(text: str) -> str:
    """A text as it begins a sentence."""
    return text[:1].upper() + text[1:]


def quality_text(quality: str, reason: str) -> str:
    """A reading's quality with its reason, if it has one: "uncertain (jump)"; a number that came late is called so."""
    if reason == "backlog":
        return "late reading"
    return f"{quality} ({reason})" if reason else quality


# Where the name in the cellar file is not what a person would say.
_SPOKEN: Final = {
    "gas_gain_rate": "rate of gas coming in",
    "hours_to_air_floor": "time to air floor",
    "hours_to_air_floor_by_cold": "time to air floor by cold",
    "cylinder_days_left": "time left in the cylinder",
}


def quantity_name(quantity: str) -> str:
    """The quantity's name as a person writes it."""
    if quantity in _SPOKEN:
        return _SPOKEN[quantity]
    name = quantity.replace("_", " ").replace("so2", "SO2")
    # A molecular SO2 is never given without its model, and what is judged of a cellar's wine is by the simple one.
    return f"{name} (simple)" if quantity == "molecular_so2" else name


def measured_name(limit: EffectiveLimit) -> str:
    """What a limit is on: its quantity or how that changes or, of a limit on leeside itself, the part."""
    if not limit.probe:
        return limit.quantity
    name = quantity_name(limit.quantity)
    return f"{name} change" if limit.kind == "rate" else name


def missing_words(limit: EffectiveLimit) -> str:
    """What is wrong when a limit on missing data or on a part of leeside is active."""
    own = own_words(limit)
    if own is not None:
        return own.state
    return "no good reading" if limit.role == "bad measurement" else "no data"


def local_time(at_ms: int, zone: tzinfo, now_ms: int) -> str:
    """A moment in the cellar's own time: the time of day, with the date unless it is today, and the zone's name."""
    moment = _moment(at_ms, zone)
    is_today = moment.date() == _moment(now_ms, zone).date()
    return moment.strftime("%H:%M:%S %Z" if is_today else "%Y-%m-%d %H:%M %Z")


def long_time(at_ms: int, zone: tzinfo) -> str:
    """Date and time to the second, with the zone's name."""
    return f"{_moment(at_ms, zone):%Y-%m-%d %H:%M:%S %Z}"


def exact_time(at_ms: int, zone: tzinfo) -> str:
    """The long time with its distance from UTC, for a reader who may not know the zone's name."""
    offset = f"{_moment(at_ms, zone):%z}"
    return f"{long_time(at_ms, zone)} (UTC{offset[:3]}:{offset[3:5]})"


def _moment(at_ms: int, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone)


def age(span_ms: int) -> str:
    """How long ago: "4 s", "3 min", "5 h", "2 d"; a moment in the future counts as now."""
    seconds = max(0, span_ms) // 1000
    for size, unit in ((86_400, "d"), (3_600, "h"), (60, "min")):
        if seconds >= 2 * size or (unit == "min" and seconds >= 90):
            return f"{seconds // size} {unit}"
    return f"{seconds} s"


def duration_text(seconds: float) -> str:
    """A duration in its two largest units: "12 min 5 s", "2 d"."""
    minutes, secs = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    parts = [(days, "d"), (hours, "h"), (minutes, "min"), (secs, "s")]
    first = next((index for index, (count, _) in enumerate(parts) if count), 3)
    return " ".join(f"{count} {unit}" for count, unit in parts[first : first + 2] if count) or "0 s"


def days_text(days: float) -> str:
    """A time that is counted in days, in its two largest units: "31 d", "12 h"."""
    return duration_text(days * 86_400)
