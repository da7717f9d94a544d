"""Where lots lie, from entry to entry: how their shares in vessels change, and the times between. Pure."""

from __future__ import annotations

__all__ = [
    "LotLocation",
    "LotLocations",
    "ShareChange",
    "joined_locations",
    "lot_locations_of",
    "lot_path",
    "share_changes",
]

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from typing import Final, NamedTuple

from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds import ledger_step
from ingest.journal.ledger import BEGINNING, Ledger
from ingest.journal.vessel_state import UNKNOWN, VesselState

# Shares that differ by less are the same: a lot that is topped up with itself stays all of the wine, give or take
# what adding up parts of 1 rounds.
_SAME: Final = 1e-9


class ShareChange(NamedTuple):
    """With an entry (at_ms, UTC ms, and its id) a lot came into a vessel, left it, or became another part of the wine
    there. there: whether it is in it from then on; share: its part of the wine, of 1, None if not known.
    """

    lot: str
    vessel: str
    at_ms: int
    entry: int
    there: bool
    share: float | None


class LotLocation(NamedTuple):
    """A lot was in a vessel from from_ms to to_ms (UTC ms; None: it still is); share: its part of the wine, of 1, None
    if not known; from_entry, to_entry: the entries that began and ended it.
    """

    vessel: str
    from_ms: int
    to_ms: int | None
    share: float | None
    from_entry: int
    to_entry: int | None


class LotLocations:
    """The stays of one lot, to be asked for single moments."""

    def __init__(self, stays: Iterable[LotLocation]) -> None:
        self._in_vessel: dict[str, list[LotLocation]] = {}
        for stay in sorted(stays, key=_begin):
            self._in_vessel.setdefault(stay.vessel, []).append(stay)

    def at(self, vessel: str, at_ms: int, entry: int) -> LotLocation | None:
        """The stay in a vessel when an entry was made, None if the lot was not there. Of one time the entry's number
        decides, as it does for contents. The entries that begin and end a stay are in it.
        """
        stays = self._in_vessel.get(vessel, [])
        place = bisect_right(stays, (at_ms, entry), key=_begin) - 1
        if place < 0:
            return None
        stay = stays[place]
        gone = stay.to_ms is not None and stay.to_entry is not None and (at_ms, entry) > (stay.to_ms, stay.to_entry)
        return None if gone else stay


def share_changes(folding: Ledger, first: tuple[int, int]) -> Iterator[ShareChange]:
    """The changes of all lots by the entries from that place in the order (at_ms, id) on, in their order."""
    state: dict[str, VesselState] = folding.before(first)
    get = state.get
    for entry in folding.after(first):
        changes = ledger_step(entry, lambda vessel: get(vessel, UNKNOWN), folding.equipment).changes
        for vessel, held in changes.items():
            before, after = _shares(get(vessel, UNKNOWN)), _shares(held)
            for lot in before.keys() - after.keys():
                yield ShareChange(lot, vessel, entry.at_ms, entry.id, there=False, share=None)
            for lot, share in after.items():
                if lot not in before or not _same(before[lot], share):
                    yield ShareChange(lot, vessel, entry.at_ms, entry.id, there=True, share=share)
        state.update(changes)


def lot_locations_of(changes: Iterable[ShareChange], lot: str) -> list[LotLocation]:
    """The stays of a lot, from all changes there ever were, in the order in which it came there."""
    stays: list[LotLocation] = []
    here: dict[str, int] = {}
    for change in changes:
        if change.lot != lot:
            continue
        if change.vessel in here:
            place = here.pop(change.vessel)
            stays[place] = stays[place]._replace(to_ms=change.at_ms, to_entry=change.entry)
        if change.there:
            here[change.vessel] = len(stays)
            stays.append(LotLocation(change.vessel, change.at_ms, None, change.share, change.entry, None))
    return stays


def lot_path(entries: Iterable[Entry], equipment: Equipment, lot: str) -> list[LotLocation]:
    """Where a lot was and is, worked out afresh."""
    return lot_locations_of(share_changes(Ledger(entries, equipment), BEGINNING[:2]), lot)


def joined_locations(stays: Iterable[LotLocation]) -> list[list[LotLocation]]:
    """Those that follow each other in one vessel without a gap, together: there only the share changed."""
    joined: list[list[LotLocation]] = []
    last: dict[str, list[LotLocation]] = {}
    for stay in stays:
        before = last.get(stay.vessel)
        if before is not None and (before[-1].to_ms, before[-1].to_entry) == (stay.from_ms, stay.from_entry):
            before.append(stay)
        else:
            last[stay.vessel] = [stay]
            joined.append(last[stay.vessel])
    return joined


def _shares(held: VesselState) -> Mapping[str, float | None]:
    """Lot -> its part of the wine in a vessel; wine of no lot is left out."""
    return {} if held.empty else {lot: share for lot, share in held.wine.parts if lot is not None}


def _same(one: float | None, other: float | None) -> bool:
    return one is other if one is None or other is None else abs(one - other) < _SAME


def _begin(stay: LotLocation) -> tuple[int, int]:
    return (stay.from_ms, stay.from_entry)
