"""From the journal's entries to the total SO2 of the wine in each vessel, entry by entry in their order. Pure.

The ledger of the journal carries a total on: an addition raises it by all that it brings, wines mix by volume, and a
titration replaces it. This adds what a titration of a lot says of the vessels in which it lies, and how much a wine of
which no total was ever titrated has at least, by what was added to it.
"""

from __future__ import annotations

__all__ = ["TotalFacts", "TotalFold"]

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from ingest.journal.entry import Entry
from ingest.journal.kinds import ledger_step
from ingest.journal.kinds.racking import RackingBody
from ingest.journal.kinds.titration import TitrationBody
from ingest.journal.kinds.topping import ToppingBody
from ingest.journal.ledger import Ledger
from ingest.journal.vessel_state import UNKNOWN, VesselState
from ingest.journal.wine import So2Value

# What is found of a lot speaks for a vessel in which it is at least this share.
_MOSTLY: Final = 0.5
# What was found of a lot before it came into a vessel counts if it is not older than this.
_BEFORE_FILL_MS: Final = 30 * 86_400_000
_MOVES: Final = frozenset({"addition", "topping", "racking", "first-filling"})


@dataclass(frozen=True, slots=True)
class TotalFacts:
    """What is known of one wine's total SO2.

    least_mg_l: what it has at least by what was found and added [mg/L]; found: the newest titration of the total;
    since: what was done to the wine since then and changed it: (kind, UTC ms), by time.
    """

    least_mg_l: float = 0.0
    found: So2Value | None = None
    since: tuple[tuple[str, int], ...] = ()


class TotalFold:
    """Takes entries in the order in which they happened. states: what each vessel holds, with the total of its wine;
    facts: what is known of the total beside that.
    """

    def __init__(self, ledger: Ledger) -> None:
        self.states: dict[str, VesselState] = {}
        self.facts: dict[str, TotalFacts] = {}
        self._equipment = ledger.equipment
        self._found_of_lots: dict[str, So2Value] = {}
        for entry in ledger.after((-1, -1)):
            self._take(entry)

    def _state(self, vessel: str) -> VesselState:
        return self.states.get(vessel, UNKNOWN)

    def _facts(self, vessel: str) -> TotalFacts:
        return self.facts.get(vessel, TotalFacts())

    def _take(self, entry: Entry) -> None:
        changes = ledger_step(entry, self._state, self._equipment).changes
        if entry.kind == "titration":
            self._titrated(entry, changes)
        elif entry.kind in _MOVES:
            self._moved(entry, changes)
        else:
            self.states.update(changes)
        for vessel, state in changes.items():
            if state.empty:
                self.facts.pop(vessel, None)

    # ---- what was found -----------------------------------------------------------------------------------------

    def _titrated(self, entry: Entry, changes: Mapping[str, VesselState]) -> None:
        self.states.update(changes)
        body = entry.body
        if not isinstance(body, TitrationBody) or body.quantity != "total" or body.found_mg_l is None:
            return
        found = So2Value(body.found_mg_l, body.u_so2_mg_l, entry.at_ms)
        if entry.place is not None:
            self._found(entry.place, found)
            return
        vessels = [
            vessel
            for vessel, state in self.states.items()
            if any(lot == entry.lot and (share or 0.0) >= _MOSTLY for lot, share in state.wine.parts)
        ]
        for vessel in vessels:
            self._found(vessel, found)
        if not vessels and entry.lot is not None:
            self._found_of_lots[entry.lot] = found

    def _found(self, vessel: str, found: So2Value) -> None:
        state = self._state(vessel)
        if state.known:
            self.states[vessel] = state._replace(wine=state.wine._replace(total=found))
        self.facts[vessel] = TotalFacts(found.mg_l, found)

    # ---- what was done ------------------------------------------------------------------------------------------

    def _moved(self, entry: Entry, changes: Mapping[str, VesselState]) -> None:
        least = self._least(entry, changes)
        sources = _sources(entry)
        made: dict[str, TotalFacts] = {}
        for vessel, after in changes.items():
            before = self._state(vessel)
            if after.empty or (vessel in sources and after.wine == before.wine):
                continue
            holds_wine = before.known and not before.empty
            main = vessel if holds_wine or not sources else sources[0]
            facts = TotalFacts() if entry.kind == "first-filling" and not holds_wine else self._facts(main)
            is_same = entry.kind == "racking" and not holds_wine and len(sources) == 1
            since = facts.since if is_same else (*facts.since, (entry.kind, entry.at_ms))
            made[vessel] = replace(facts, least_mg_l=least.get(vessel, 0.0), since=since)
        self.states.update(changes)
        self.facts.update(made)
        if entry.kind == "first-filling" and entry.place is not None:
            self._filled(entry.place, entry)

    def _filled(self, vessel: str, entry: Entry) -> None:
        """Let a lot that came into an empty vessel have the total that was found of it shortly before."""
        state, found = self._state(vessel), self._found_of_lots.get(entry.lot or "")
        alone = [lot for lot, _ in state.wine.parts] == [entry.lot]
        if found is not None and alone and entry.at_ms - found.at_ms <= _BEFORE_FILL_MS:
            self._found(vessel, found)

    def _least(self, entry: Entry, changes: Mapping[str, VesselState]) -> dict[str, float]:
        """What the wine of each vessel has at least after an entry [mg/L], by the ledger's own arithmetic."""

        def state_of(vessel: str) -> VesselState:
            state = self._state(vessel)
            if not state.known or state.wine.total is not None:
                return state
            least = So2Value(self._facts(vessel).least_mg_l, 0.0, entry.at_ms, True)
            return state._replace(wine=state.wine._replace(total=least))

        unknown = [vessel for vessel, after in changes.items() if not after.empty and after.wine.total is None]
        least = {vessel: after.wine.total.mg_l for vessel, after in changes.items() if after.wine.total is not None}
        if not unknown:
            return least
        shadow = ledger_step(entry, state_of, self._equipment).changes
        for vessel in unknown:
            total = shadow[vessel].wine.total
            least[vessel] = self._resident_part(entry, vessel, changes[vessel]) if total is None else total.mg_l
        return least

    def _resident_part(self, entry: Entry, vessel: str, after: VesselState) -> float:
        """What is left of what was there, where nobody knows what came in."""
        before, least = self._state(vessel), self._facts(vessel).least_mg_l
        if entry.kind == "addition":
            return least
        if not before.volume_l or not after.volume_l:
            return 0.0
        return least * min(before.volume_l / after.volume_l, 1.0)


def _sources(entry: Entry) -> list[str]:
    """The vessels that wine came from."""
    body = entry.body
    if isinstance(body, RackingBody):
        return [drawn.vessel for drawn in body.sources]
    return [body.source] if isinstance(body, ToppingBody) and body.source is not None else []
