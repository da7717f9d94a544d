"""Cautions: what may hurt the person who answers an alarm, in one line each.

That an inert gas gives no warning: EIGA SAG NL 77, "Campaign against asphyxiation" (title from memory).
"""

from __future__ import annotations

__all__ = ["BURST_GLASS", "CAUTIONS", "GAS", "caution_of", "without_cautions"]

from typing import Final

from ingest.cellar import EffectiveLimit

GAS: Final = (
    "Caution: air the room before you go in, and do not go in alone: too little oxygen is not felt, seen or smelt."
)
BURST_GLASS: Final = (
    "Caution: glass can burst: stand aside, shield your eyes, keep others away. Air the room; escaped gas is not smelt."
)
CAUTIONS: Final = (BURST_GLASS, GAS)


def caution_of(limit: EffectiveLimit, place_kind: str, *, glass: bool, under_gas: bool) -> str:
    """Give the caution that belongs to a raised alarm, "" for none.

    place_kind: the vessel's kind, ``cylinder``, ``room`` or ""; glass: the vessel is made of it; under_gas: a gas
    blanket is kept in it. That a probe is not heard or not to be trusted is no danger by itself.
    """
    if limit.kind == "no data":
        return ""
    if place_kind == "cylinder":
        return GAS
    if limit.quantity != "pressure":
        return ""
    if limit.kind == "high":
        return BURST_GLASS if glass else GAS
    return GAS if under_gas else ""


def without_cautions(body: str) -> str:
    """A message's text without its lines of caution."""
    return "\n".join(line for line in body.split("\n") if line not in CAUTIONS)
