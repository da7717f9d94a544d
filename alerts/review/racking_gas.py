"""The gas part of a review before a racking: room, purging, moving, gas, air. Pure."""

from __future__ import annotations

__all__ = ["racking_gas"]

from alerts.errors import OutOfRange, ReviewRefused
from alerts.gas.purge import PurgeTarget, purge_by_sweep
from alerts.review.checklist import racking_cautions, racking_checklist
from alerts.review.fit import fit, fit_section, moved_volume
from alerts.review.moving import Move, moves, moving_section
from alerts.review.purging import PurgeChoice, purge_choices, purge_section
from alerts.review.racking_facts import RackingFacts, RackingWish
from alerts.review.room_safety import room_section
from alerts.review.section import Review, ReviewVerdict
from alerts.review.supply import gas_needs, supply_section


def racking_gas(facts: RackingFacts, wish: RackingWish, file: str) -> Review:
    """Review a racking as far as gas and room are concerned. file: the cellar file as a command names it.

    Without a receiving vessel it says what can be said of the source. Raises ReviewRefused where there is no wine, and
    OutOfRange for what is wished; a refusal for safety is a verdict.
    """
    source, receiver = facts.source, facts.receiver
    if receiver is not None and receiver.id == source.id:
        raise OutOfRange("receiver", f"wine cannot be racked from {source.id} into itself: name another vessel")
    if source.empty:
        raise ReviewRefused(f"{source.id} is empty: there is no wine in it to move")
    # What is wished is looked at, whatever else is not known.
    purge_by_sweep("keg", 1.0, PurgeTarget(o2_percent=wish.target_o2_percent))
    moved_l = moved_volume(source, wish)
    moves(facts, wish, source.capacity_l)
    section = fit_section(facts, wish)
    sections = [section]
    fits = section.verdict is not ReviewVerdict.DO_NOT
    into = None if receiver is None or moved_l is None or not fits else fit(receiver, moved_l)
    choices: list[PurgeChoice] = []
    if into is not None:
        choices, why_not_pressed = purge_choices(facts, wish, into)
        sections.append(purge_section(facts, wish, into, choices, why_not_pressed))
    ways: list[Move] = []
    if fits:
        ways, why_not_pushed = moves(facts, wish, source.capacity_l if moved_l is None else moved_l)
        sections.append(moving_section(facts, wish, moved_l, ways, why_not_pushed))
    needs = gas_needs(facts, wish, into, choices, ways)
    if fits:
        sections.append(supply_section(facts, needs))
    sections.append(room_section(facts, needs))
    refused = any(each.verdict is ReviewVerdict.DO_NOT for each in sections)
    return Review(
        vessel=source.id,
        to="" if receiver is None else receiver.id,
        at_ms=facts.at_ms,
        sections=tuple(sections),
        checklist=() if refused else tuple(racking_checklist(facts, wish, file)),
        cautions=tuple(racking_cautions(facts)),
    )
