"""What a default limit on the gas over a wine or in a cylinder is about, in the few words of a subject or a line."""

from __future__ import annotations

__all__ = ["gas_alarm_name"]

from typing import Final

from alerts.view.gas.blanket_values import hours_text, rate_text
from ingest.cellar import EffectiveLimit

_DAY_H: Final = 24.0
_NAMED: Final = frozenset({"leak_rate", "gas_gain_rate", "hours_to_air_floor", "hours_to_air_floor_by_cold"})


def gas_alarm_name(limit: EffectiveLimit, value: float | None) -> str | None:
    """Name such an alarm without its place: "loses gas, at least 0.40 mL a minute"; None for any other limit.

    value: the lower end of a rate [mL/min], of hours or of a cylinder's days, None where it is not known. A limit of
    the cellar file is named by its number instead, which somebody chose.
    """
    if limit.origin == "default" and limit.quantity == "cylinder_days_left":
        return _cylinder_name(value)
    if limit.origin != "default" or limit.quantity not in _NAMED:
        return None
    if limit.quantity in ("leak_rate", "gas_gain_rate"):
        verb = "loses gas" if limit.quantity == "leak_rate" else "gains gas"
        return verb if value is None else f"{verb}, at least {rate_text(value, None).removeprefix('about ')}"
    cold = " by cold" if limit.quantity == "hours_to_air_floor_by_cold" else ""
    hours = "" if value is None else hours_text(value, value).removeprefix("about ")
    if not hours:
        return f"comes near to the air floor{cold}"
    return f"falls below the air floor{cold} in {hours}" if cold else f"loses its blanket, at least {hours} left"


def _cylinder_name(days: float | None) -> str:
    if days is None:
        return "cylinder runs out of gas"
    if days == 0.0:
        return "cylinder may be down to its reserve"
    return f"cylinder lasts at least {hours_text(days * _DAY_H, days * _DAY_H).removeprefix('about ')}"
