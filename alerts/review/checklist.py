"""The work of a racking in order, and what to be careful of, whatever the numbers say."""

from __future__ import annotations

__all__ = ["racking_cautions", "racking_checklist"]

import shlex

from alerts.gas.cautions import CONFINED_SPACE, SIPHON_CAUTIONS, TRANSFER_CAUTIONS
from alerts.review.racking_facts import RackingFacts, RackingVessel, RackingWish
from ingest.journal.kinds.kind import LARGE_L


def racking_checklist(facts: RackingFacts, wish: RackingWish, file: str) -> list[str]:
    """List the steps of the work. file: the cellar file as a command names it."""
    source, receiver = facts.source, facts.receiver
    to = receiver.id if receiver is not None else "the receiving vessel"
    is_blend = receiver is not None and receiver.holds_wine
    steps = [
        f"Clean and sanitise hoses and fittings; rinse them; look at the seals and taps of {to}."
        if is_blend
        else f"Clean and sanitise {to}, hoses and fittings; rinse them; look at seals and taps.",
        "Open doors and windows; have a meter for oxygen (and carbon dioxide, if that is used), and somebody near.",
    ]
    if source.takes_pressure or (receiver is not None and receiver.takes_pressure):
        steps.append(
            "Read the stamp on each vessel that gets pressure; set the regulator below it, and see that the relief "
            "valve is there and moves freely."
        )
    purge = f"Let the pressure off {to}, then purge its headspace" if is_blend else f"Purge {to}"
    steps.append(f"{purge} with its outlet open, and keep gas on it until the wine comes.")
    if source.takes_pressure:
        steps.append(f"Bring {source.id} to the pressure that you push with, no higher; keep the outlet of {to} open.")
    else:
        steps.append(
            f"Start the siphon without your mouth and without pressing gas into {source.id}; let gas follow at no "
            "pressure."
        )
    steps += [
        f"Fill {to} from the bottom, slowly at first; stop before the lees come.",
        f"Leave headspace in {to}; {_close(receiver)}.",
        "Shut the cylinder and the supply. Titrate free SO2 a day later.",
        f"Write it down: {_entry(facts, wish, file)}",
        _afterwards(source, wish),
    ]
    return steps


def racking_cautions(facts: RackingFacts) -> list[str]:
    """List what to be careful of."""
    vessels = [each for each in (facts.source, facts.receiver) if each is not None]
    cautions = list(TRANSFER_CAUTIONS)
    if not facts.source.takes_pressure:
        cautions = [*SIPHON_CAUTIONS[:1], *cautions]
    if any(_is_large(vessel) for vessel in vessels):
        cautions.insert(0, CONFINED_SPACE)
    return cautions


def _close(receiver: RackingVessel | None) -> str:
    if receiver is not None and not receiver.takes_pressure:
        return "close it with an airlock that has liquid, or a bung that can give way, and never under pressure"
    return "close it, give it its blanket within the stamp, and look for leaks with soapy water"


def _afterwards(source: RackingVessel, wish: RackingWish) -> str:
    """What becomes of the vessel that the wine came from."""
    if wish.volume_l is None or source.wine_l is None or wish.volume_l >= source.wine_l:
        return f"Rinse {source.id} from outside; it is full of gas."
    if source.takes_pressure:
        return f"Give what stays in {source.id} its blanket again: the headspace there has grown."
    return f"Top up {source.id}, or move what stays there into a smaller vessel: the headspace has grown."


def _is_large(vessel: RackingVessel) -> bool:
    return vessel.kind == "tank" or vessel.capacity_l >= LARGE_L


def _entry(facts: RackingFacts, wish: RackingWish, file: str) -> str:
    """The command that writes it down, as a shell takes it."""
    source, receiver = facts.source, facts.receiver
    drawn = source.id if wish.volume_l is None else f"{source.id}={wish.volume_l:g}L"
    to = "VESSEL" if receiver is None else receiver.id
    blend = ["--blend"] if receiver is not None and receiver.wine_l else []
    air = "under gas" if source.takes_pressure else "closed"
    return shlex.join(["leeside", "enter", "racking", file, "--from", drawn, "--to", to, *blend, "--air", air])
