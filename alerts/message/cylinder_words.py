"""What a message about a gas cylinder says beside the number: content, use, days left, supply, and its refill."""

from __future__ import annotations

__all__ = ["cylinder_fact", "cylinder_message_lines", "cylinder_now", "cylinder_returned", "is_on_cylinder"]

from typing import Final

from alerts.cylinders.details import CylinderShown
from alerts.view.format import unit_name
from alerts.view.gas.cylinder_lines import cylinder_content_text, cylinder_use_text, lasts_text
from ingest.cellar import EffectiveLimit

_QUANTITY: Final = "cylinder_days_left"
_MOST_NOTES: Final = 2
_AT_THE_LINE: Final = (
    "While a supply is open a leak does not show at the vessels, but here: shut the cylinder's valve and see whether "
    "it stops."
)
_BEHIND_THE_VALVE: Final = (
    "Somebody draws gas, or it leaks: see whether the loss stops when the cylinder's valve is shut."
)


def is_on_cylinder(limit: EffectiveLimit, place_kind: str) -> bool:
    """Whether a limit is about the gas in a cylinder. place_kind: the vessel's kind, ``cylinder``, ``room`` or ""."""
    return limit.quantity == _QUANTITY or (place_kind == "cylinder" and limit.quantity == "pressure")


def cylinder_fact(limit: EffectiveLimit, place: str, shown: CylinderShown) -> str | None:
    """Say what is wrong by how the cylinder was judged, None where a limit is on another number.

    place: what people call it.
    """
    lasts = lasts_text(shown)
    if limit.quantity != _QUANTITY or shown.days_low is None or not lasts:
        return None
    fact = f"{place}: the cylinder {lasts}." if lasts.startswith("lasts") else f"{place}: the cylinder is {_is(lasts)}."
    if shown.fast_l_day is None:
        return fact
    loss = cylinder_use_text(shown).partition("; ")[0]
    return f"{fact}\nIt {loss}. {_AT_THE_LINE if shown.open_at else _BEHIND_THE_VALVE}"


def _is(lasts: str) -> str:
    return "down to its reserve" if lasts.startswith("down") else "perhaps down to its reserve now"


def cylinder_message_lines(shown: CylinderShown, units: str) -> list[str]:
    """List content, use, days left and supply, in the lines of a message. units: the site's."""
    lines = []
    if content := cylinder_content_text(shown, units):
        lines.append(f"Content:     {content}")
    if use := cylinder_use_text(shown):
        lines.append(f"Use:         {use.removeprefix('uses ')}")
    if lasts := lasts_text(shown):
        amount = "70 to 150 psi" if unit_name("pressure", units) == "psi" else "5 to 10 bar"
        reserve = f", to a reserve of {amount}" if lasts.startswith("lasts") else ""
        lines.append(f"Time left:   {lasts.removeprefix('lasts ')}{reserve}")
    if shown.open_at:
        lines.append(f"Supply:      open at {', '.join(shown.open_at)}")
    return [*lines, *(f"Note:        {remark}" for remark in shown.remarks[:_MOST_NOTES])]


def cylinder_returned(limit: EffectiveLimit, place: str) -> str:
    """Say what is right again, of a default limit on the days left; "" for any other limit."""
    if limit.origin != "default" or limit.quantity != _QUANTITY:
        return ""
    return f"{place}: the cylinder lasts long enough again."


def cylinder_now(shown: CylinderShown, units: str) -> str:
    """Say how the cylinder is when an alarm about it has ended."""
    parts = (cylinder_content_text(shown, units), cylinder_use_text(shown), lasts_text(shown))
    return f"Now: {'; '.join(part for part in parts if part)}."
