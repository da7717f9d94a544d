"""Which vessel or lot a history is of, and which wine lay where."""

from __future__ import annotations

__all__ = ["HistorySubject", "SubjectChoice", "lot_choices", "subject_of", "vessel_choices"]

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

from alerts.errors import HistoryRefused
from alerts.view.history.answer import LotStay
from alerts.view.vessel_card import known_vessels
from ingest.cellar import Cellar
from ingest.journal.kinds.lot import LotBody
from ingest.journal.lot_locations import LotLocation
from ingest.journal.wine_places import LEAST_SHARE
from ingest.store import Store
from ingest.store.journal.entries import entries
from ingest.store.journal.lot_location_rows import stored_lot_locations, stored_lots_of
from ingest.store.journal.stored_ledger import equipment_of

# An unknown name is answered with those that there are, as far as they can be read at a glance.
_MOST_NAMES: Final = 30


class SubjectChoice(NamedTuple):
    """One that a history can be asked of: its id, and what people call it ("" for nothing else)."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class HistorySubject:
    """kind, id, name: of the vessel or lot; stays: of a vessel the lots that were in it, of a lot the vessels that it
    was in, oldest first, where it was at least ``LEAST_SHARE`` of the wine or nobody knows how much.
    """

    kind: Literal["vessel", "lot"]
    id: str
    name: str
    stays: tuple[LotStay, ...]

    @property
    def vessels(self) -> tuple[str, ...]:
        """The vessels that it is about, in the order in which they come up."""
        return (self.id,) if self.kind == "vessel" else tuple(dict.fromkeys(stay.vessel for stay in self.stays))

    def times_in(self, vessel: str, from_ms: int, to_ms: int) -> list[tuple[int, int]]:
        """The parts of from_ms <= at < to_ms in which a vessel belongs to it: all of it for a vessel's history."""
        if self.kind == "vessel":
            return [(from_ms, to_ms)] if vessel == self.id else []
        parts = (
            (max(stay.from_ms, from_ms), to_ms if stay.to_ms is None else min(stay.to_ms, to_ms))
            for stay in self.stays
            if stay.vessel == vessel
        )
        return [part for part in parts if part[0] < part[1]]


def vessel_choices(cellar: Cellar, store: Store) -> list[SubjectChoice]:
    """List the vessels, those of the cellar file first; call inside ``store.read()``."""
    names = {vessel.id: vessel.name or "" for vessel in cellar.vessel}
    return [SubjectChoice(id, names.get(id, "")) for id in known_vessels(cellar, store)]


def lot_choices(store: Store) -> list[SubjectChoice]:
    """List the lots, the one that was named last first; call inside ``store.read()``."""
    names: dict[str, str] = {}
    for entry in entries(store, kinds=["lot"], struck=False):
        if entry.lot is not None and isinstance(entry.body, LotBody):
            names.pop(entry.lot, None)
            names[entry.lot] = entry.body.name
    return [SubjectChoice(id, name) for id, name in reversed(names.items())]


def subject_of(cellar: Cellar, store: Store, vessel: str, lot: str) -> HistorySubject:
    """Find the vessel or lot; exactly one of the two is not empty. Call inside ``store.read()``.

    Raises HistoryRefused, with what there is.
    """
    if bool(vessel) == bool(lot):
        raise HistoryRefused("name one vessel or one lot" + (", not both" if vessel else ""))
    kind: Literal["vessel", "lot"] = "vessel" if vessel else "lot"
    choices = vessel_choices(cellar, store) if vessel else lot_choices(store)
    names = {choice.id: choice.name for choice in choices}
    id = vessel or lot
    if id not in names:
        there = ", ".join([*names][:_MOST_NAMES]) + (" and more" if len(names) > _MOST_NAMES else "")
        there = f"there are: {there}" if names else "there is none yet"
        raise HistoryRefused(f"there is no {kind} '{id[:60]}'; {there}")
    equipment = equipment_of(store.connection, cellar)
    if vessel:
        pairs = stored_lots_of(store.connection, equipment, vessel)
    else:
        pairs = [(lot, location) for location in stored_lot_locations(store.connection, equipment, lot)]
    return HistorySubject(kind, id, names[id], tuple(_stays(pairs)))


def _stays(pairs: Iterable[tuple[str, LotLocation]]) -> list[LotStay]:
    """Stays of lots in vessels; those that follow each other without a gap are one, whose share is that of its end."""
    stays: list[LotStay] = []
    last: dict[tuple[str, str], int] = {}
    for lot, location in pairs:
        if (location.share is not None and location.share < LEAST_SHARE) or location.to_ms == location.from_ms:
            continue
        key = (lot, location.vessel)
        before = last.get(key)
        if before is not None and stays[before].to_ms == location.from_ms:
            stays[before] = LotStay(*key, stays[before].from_ms, location.to_ms, location.share)
        else:
            last[key] = len(stays)
            stays.append(LotStay(*key, location.from_ms, location.to_ms, location.share))
    return stays
