"""The gas part of a review before a bottling: moving the wine, flushing bottles, the cylinder, the rooms' air. Pure."""

from __future__ import annotations

__all__ = ["bottling_gas"]

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from alerts.errors import ReviewRefused
from alerts.gas.gases import standard_l
from alerts.gas.wine_density import TEMPERATURE_RANGE
from alerts.review.bottles import BottleCounts
from alerts.review.fit import moved_volume
from alerts.review.moving import moves, moving_section
from alerts.review.racking_facts import RackingFacts, RackingWish
from alerts.review.room_safety import room_section
from alerts.review.section import ReviewSection
from alerts.review.supply import GasNeed, gas_needs, supply_section

# Volumes of gas for each bottle: one that pushes most of the air out, to three, which leave 1 % of oxygen by mixing
# (Crowl and Louvar, Chemical Process Safety).
_FLUSHES: Final = (1.0, 3.0)

_BY_HAND: Final = "Bottle by bottle it takes longer: count a minute for each (common practice, no source)."


def bottling_gas(facts: RackingFacts, wish: RackingWish, bottles: Sequence[BottleCounts]) -> tuple[ReviewSection, ...]:
    """Judge how the wine gets into bottles, whether the gas suffices, and the rooms.

    bottles: of each size, if all goes into that; the first counts. Raises ReviewRefused where there is no wine, and
    OutOfRange for what is wished.
    """
    source = facts.source
    if source.empty:
        raise ReviewRefused(f"{source.id} is empty: there is no wine in it to bottle")
    facts = replace(facts, receiver=None)
    moved_l = moved_volume(source, wish)
    ways, refused = moves(facts, wish, source.capacity_l if moved_l is None else moved_l)
    needs = gas_needs(facts, wish, None, (), ways)
    if bottles and bottles[0].at_best > 0:
        celsius = TEMPERATURE_RANGE.nearest(facts.temperature_c)
        filled_l = standard_l(bottles[0].at_best * bottles[0].size_l, facts.barometer_kpa, celsius)
        low_l, high_l = (times * filled_l for times in _FLUSHES)
        needs.append(GasNeed(f"flushing {bottles[0].at_best} bottles", source.gas, low_l, high_l))
    moving = moving_section(facts, wish, moved_l, ways, refused)
    return (
        replace(moving, lines=(*moving.lines, _BY_HAND)),
        supply_section(facts, needs),
        room_section(facts, needs),
    )
