"""Where lots lie, from entry to entry: how their shares in vessels change, and the times between. Pure."""

from __future__ import annotations

__all__ = [
    "LotLocation",
    "LotLocations",
    "ShareChange",
    "joined_locations",
    "lot_locations_of",
    "share_changes",
]

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from typing import Final, NamedTuple

from ingest.journal.kinds import ledger_step
from ingest.journal.ledger import Ledger
from ingest.journal.vessel_state import UNKNOWN, VesselState

# Shares that differ by less are the same: a lot that is topped up with itself locations all of the wine, give or take
# what adding up parts of 1 rounds.
_SAME: Final = 1e-9


class ShareChange(NamedTuple):
    """With an entry (at_ms, UTC ms, and its number, both as in ``Entry.key``) a lot came into a vessel, left it, or
    became another part of the wine there. there: whether it is in it from then on; share: its part of the wine, of 1,
    None if not known.
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
    """Where one lot lay, to be asked for single moments."""

    def __init__(self, locations: Iterable[LotLocation]) -> None:
        self._in_vessel: dict[str, list[LotLocation]] = {}
        for location in sorted(locations, key=_begin):
            self._in_vessel.setdefault(location.vessel, []).append(location)

    def at(self, vessel: str, at_ms: int, entry: int) -> LotLocation | None:
        """Find the lot's location in a vessel when an entry was made, None if it was not there. Of one time the entry's
        number decides, as it does for contents. The entries that begin and end a location are in it.
        """
        locations = self._in_vessel.get(vessel, [])
        index = bisect_right(locations, (at_ms, entry), key=_begin) - 1
        if index < 0:
            return None
        location = locations[index]
        gone = (
            location.to_ms is not None
            and location.to_entry is not None
            and (at_ms, entry) > (location.to_ms, location.to_entry)
        )
        return None if gone else location


def share_changes(ledger: Ledger, first: tuple[int, int]) -> Iterator[ShareChange]:
    """Find the changes of all lots by the entries from that place in the order (at_ms, id) on, in their order."""
    states = ledger.before(first)
    get = states.get
    for entry in ledger.after(first):
        changes = ledger_step(entry, lambda vessel: get(vessel, UNKNOWN), ledger.equipment).changes
        for vessel, state in changes.items():
            before, after = _shares(get(vessel, UNKNOWN)), _shares(state)
            for lot in before.keys() - after.keys():
                yield ShareChange(lot, vessel, *entry.key, there=False, share=None)
            for lot, share in after.items():
                if lot not in before or not _same(before[lot], share):
                    yield ShareChange(lot, vessel, *entry.key, there=True, share=share)
        states.update(changes)


def lot_locations_of(changes: Iterable[ShareChange], lot: str) -> list[LotLocation]:
    """Find where a lot was and is, from all changes there ever were, in the order in which it came there."""
    locations: list[LotLocation] = []
    open_in: dict[str, int] = {}  # vessel -> index of the location that has no end yet
    for change in changes:
        if change.lot != lot:
            continue
        if change.vessel in open_in:
            index = open_in.pop(change.vessel)
            locations[index] = locations[index]._replace(to_ms=change.at_ms, to_entry=change.entry)
        if change.there:
            open_in[change.vessel] = len(locations)
            locations.append(LotLocation(change.vessel, change.at_ms, None, change.share, change.entry, None))
    return locations


def joined_locations(locations: Iterable[LotLocation]) -> list[list[LotLocation]]:
    """Join those that follow each other in one vessel without a gap: there only the share changed."""
    joined: list[list[LotLocation]] = []
    last: dict[str, list[LotLocation]] = {}
    for location in locations:
        before = last.get(location.vessel)
        if before is not None and (before[-1].to_ms, before[-1].to_entry) == (location.from_ms, location.from_entry):
            before.append(location)
        else:
            last[location.vessel] = [location]
            joined.append(last[location.vessel])
    return joined


def _shares(state: VesselState) -> Mapping[str, float | None]:
    """Lot -> its part of the wine in a vessel; wine of no lot is left out."""
    return {} if state.empty else {lot: share for lot, share in state.wine.parts if lot is not None}


def _same(one: float | None, other: float | None) -> bool:
    return one is other if one is None or other is None else abs(one - other) < _SAME


def _begin(location: LotLocation) -> tuple[int, int]:
    return (location.from_ms, location.from_entry)
