"""Cautions: what may hurt the person who answers an alarm, in one line each.

That an inert gas gives no warning: EIGA SAG NL 77, "Campaign against asphyxiation" (title from memory).
"""

from __future__ import annotations

__all__ = ["BURST_GLASS", "CAUTIONS", "GAS", "GOING_IN", "caution_of", "cautions_in", "without_cautions"]

from collections.abc import Iterable
from typing import Final

from alerts.view.gas.room_air_lines import AIR_BEGINNINGS
from ingest.cellar import EffectiveLimit

GAS: Final = (
    "Caution: air the room before you go in, and do not go in alone: too little oxygen cannot be felt, seen or smelt."
)
BURST_GLASS: Final = (
    "Caution: glass can burst: stand aside, shield your eyes, keep others away. Air the room; escaped gas has no smell."
)
GOING_IN: Final = (
    "Caution: never climb, reach or lean into a tank that held gas, not even to help somebody: one breath can be "
    "enough."
)
CAUTIONS: Final = (BURST_GLASS, GAS, GOING_IN)

# Judged quantities that speak of gas which has left its vessel, and the one that only says when to buy more.
_LOST_GAS: Final = ("leak_rate", "compensated_pressure", "hours_to_air_floor", "hours_to_air_floor_by_cold")
# What shows that a vessel gets too full.
_GAUGES: Final = ("pressure", "gas_gain_rate")
_STOCK: Final = "cylinder_days_left"


def caution_of(limit: EffectiveLimit, place_kind: str, *, glass: bool, under_gas: bool) -> str:
    """Give the caution that belongs to a raised alarm, "" for none.

    place_kind: the vessel's kind, ``cylinder``, ``room`` or ""; glass: the vessel is made of it; under_gas: a gas
    blanket is kept in it. A probe that is not heard and work that is due are not a danger by themselves.
    """
    if limit.kind in ("no data", "due"):
        return ""
    if place_kind == "cylinder":
        return "" if limit.quantity == _STOCK and limit.role != "soon" else GAS
    if limit.quantity in _LOST_GAS:
        return GAS
    if limit.quantity not in _GAUGES:
        return ""
    if glass and limit.kind != "low":
        return BURST_GLASS
    return GAS if limit.kind == "high" or under_gas else ""


def cautions_in(bodies: Iterable[str]) -> list[str]:
    """List the lines of caution in messages, each once: what to be careful of, then what gas can do to rooms' air."""
    lines = [line for body in bodies for line in body.split("\n")]
    usual = [caution for caution in CAUTIONS if caution in lines]
    return [*usual, *dict.fromkeys(line for line in lines if line.startswith(AIR_BEGINNINGS))]


def without_cautions(body: str) -> str:
    """A message's text without its lines of caution."""
    lines = [line for line in body.split("\n") if line not in CAUTIONS and not line.startswith(AIR_BEGINNINGS)]
    # A paragraph of nothing but cautions leaves no gap.
    return "\n".join(line for at, line in enumerate(lines) if line or not at or lines[at - 1])
