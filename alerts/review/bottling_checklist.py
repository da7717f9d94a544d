"""The work of a bottling in order, and what to be careful of, whatever the numbers say."""

from __future__ import annotations

__all__ = ["bottling_cautions", "bottling_checklist"]

import shlex
from collections.abc import Sequence
from typing import Final

from alerts.review.bottles import BottleCounts
from alerts.review.checklist import racking_cautions
from alerts.review.racking_facts import RackingFacts
from alerts.wine.adding import CAUTIONS

_BOTTLES: Final = "glass bottles: look for chips before you fill them, and wear gloves at the corker"
_NO_PRESSURE: Final = (
    "bottles for still wine are not made for pressure: let the pressure off to the little that pushes the wine, and "
    "never close a bottle that is connected to gas"
)


def bottling_checklist(
    facts: RackingFacts, bottles: Sequence[BottleCounts], *, titrate: bool, dose_command: str, file: str
) -> list[str]:
    """List the steps of the work. titrate: free and total SO2 are to be titrated first; dose_command: the entry of the
    dose, "" where nothing is to be added; file: the cellar file as a command names it.
    """
    source = facts.source
    steps = []
    if titrate:
        steps.append(f"Days before: titrate free and total SO2 of {source.id}, write both down, and review again.")
    if dose_command:
        steps.append(
            "A day or more before: add the dose below the surface, mix, and titrate a day later. Write it down: "
            f"{dose_command}"
        )
    steps += [
        "Clean and sanitise filler, hoses and fittings; rinse bottles, let them drain, and look at each for chips.",
        "Open doors and windows; have a meter for oxygen (and carbon dioxide, if that is used), and somebody near.",
    ]
    if source.takes_pressure:
        steps.append(
            f"Read the stamp on {source.id}; let its pressure off to what you push with, and see that the relief valve "
            "moves freely."
        )
    else:
        steps.append(f"Start the siphon without your mouth; let gas follow into {source.id} at no pressure.")
    steps += [
        "Run the first half bottle off and set it aside: it has met the air in the hose. Taste it.",
        "Flush each bottle with gas, fill it from the bottom without splashing, and stop before the lees come.",
        "Leave about 15 mm under a cork (common practice, no source): a bottle without headspace pushes its cork when "
        "it warms. Close each at once.",
        "Stand corked bottles upright for a day or two, then lay them down; mark them with lot and date.",
        f"Write it down: {_entry(source.id, bottles, file)}",
        f"Shut the cylinder and the supply. Rinse {source.id} from outside; it is full of gas.",
        "Keep one bottle in warmth for two weeks and look for haze or gas: it is the first to show that it ferments.",
    ]
    return steps


def bottling_cautions(facts: RackingFacts, *, dosed: bool) -> list[str]:
    """List what to be careful of."""
    return [_NO_PRESSURE, _BOTTLES, *racking_cautions(facts), *(CAUTIONS if dosed else ())]


def _entry(vessel: str, bottles: Sequence[BottleCounts], file: str) -> str:
    """The command that writes it down, as a shell takes it; the numbers are to be those that were filled."""
    count = f"{bottles[0].expected} x {bottles[0].size_l:g} L" if bottles else "NUMBER x SIZE"
    words = ["leeside", "enter", "bottling", file, "--vessel", vessel, "--bottles", count, "--remainder", "0 L"]
    return shlex.join(words)
