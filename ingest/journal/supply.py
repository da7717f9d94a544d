"""Whether the gas supply is open at a vessel, by the entries of its valve and of its cylinder's valve. Pure.

The two valves stand in a row: gas comes through only if both are open.

- A valve that nobody wrote of is where the other one is: who opens the cylinder opens the line, and who opens the
  supply at a vessel has gas.
- While nobody wrote of either, the supply counts as shut: most people shut it once a blanket is charged, and where that
  is wrong the judgement of the blanket notices. A vessel on no line is shut too, until an entry says otherwise.
- The cylinder shut shuts all vessels of its lines, and opened again gives back what their own valves say.
- ``supply opened`` at a vessel after its cylinder was shut counts for that vessel: nobody opens and writes down a valve
  without gas behind it, so the cylinder is open, and only nobody wrote it down.
- Charging, purging and pushing say nothing of how the valve was left.
"""

from __future__ import annotations

__all__ = ["Supply", "SupplyKnown", "supply_history"]

from collections.abc import Iterable, Sequence
from typing import Final, Literal, NamedTuple

from ingest.cellar import GasLine
from ingest.journal.entry import Entry
from ingest.journal.kinds.gas import GasBody

SupplyKnown = Literal["said at the vessel", "said at the cylinder", "never said", "no line"]

_VALVE: Final = {"supply opened": True, "supply shut": False}


class Supply(NamedTuple):
    """Whether gas can flow into a vessel.

    since_ms: since when it is so, UTC ms, None where nobody ever said; known: by the newest entry that says it; line,
    cylinder: their ids, "" for a vessel on no line.
    """

    is_open: bool
    since_ms: int | None
    known: SupplyKnown
    line: str = ""
    cylinder: str = ""


def supply_history(vessel: str, entries: Iterable[Entry], lines: Iterable[GasLine]) -> Sequence[Supply]:
    """List what the supply at a vessel was, oldest first: what counts before any entry, then each change.

    entries: any, with places as they are called now, in the order in which they happened; struck ones and those of
    other kinds and places are passed over. lines: of the cellar file; a vessel is on one at most.
    """
    line = next((each for each in lines if vessel in each.vessels), None)
    id, cylinder = ("", "") if line is None else (line.id, line.cylinder)
    history = [Supply(False, None, "no line" if line is None else "never said", id, cylinder)]
    at_vessel: bool | None = None
    at_cylinder: bool | None = None
    for entry in entries:
        if entry.struck is not None or entry.place not in (vessel, cylinder) or not isinstance(entry.body, GasBody):
            continue
        said = _VALVE.get(entry.body.act)
        if said is None:
            continue
        known: SupplyKnown = "said at the cylinder"
        if entry.place == vessel:
            at_vessel, known = said, "said at the vessel"
            if said and at_cylinder is False:
                at_cylinder = None
        else:
            at_cylinder = said
        is_open = False not in (at_vessel, at_cylinder)
        last = history[-1]
        if is_open != last.is_open or last.since_ms is None:
            history.append(Supply(is_open, entry.at_ms, known, id, cylinder))
    return history
