"""What a default limit on the gas over a wine is about, in the few words of a subject or a line."""

from __future__ import annotations

__all__ = ["gas_alarm_name"]

from typing import Final

from alerts.view.blanket_values import hours_text, rate_text
from ingest.cellar import EffectiveLimit

_NAMED: Final = frozenset({"leak_rate", "gas_gain_rate", "hours_to_air_floor", "hours_to_air_floor_by_cold"})


def gas_alarm_name(limit: EffectiveLimit, value: float | None) -> str | None:
    """Name such an alarm without its place: "loses gas, at least 0.40 mL a minute"; None for any other limit.

    value: the lower end of a rate [mL/min] or of hours, None where it is not known. A limit of the cellar file is named
    by its number instead, which somebody chose.
    """
    if limit.origin != "default" or limit.quantity not in _NAMED:
        return None
    if limit.quantity in ("leak_rate", "gas_gain_rate"):
        verb = "loses gas" if limit.quantity == "leak_rate" else "gains gas"
        return verb if value is None else f"{verb}, at least {rate_text(value, None).removeprefix('about ')}"
    cold = " by cold" if limit.quantity == "hours_to_air_floor_by_cold" else ""
    hours = "" if value is None else hours_text(value, value).removeprefix("about ")
    if not hours:
        return f"comes near to the air floor{cold}"
    return f"below the air floor{cold} in {hours}" if cold else f"loses its blanket, at least {hours} left"
