"""Which vessel or lot a history is of, and which wine lay where."""

from __future__ import annotations

__all__ = ["HistorySubject", "SubjectChoice", "lot_choices", "other_choices", "subject_of", "vessel_choices"]

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, NamedTuple

from alerts.errors import HistoryRefused
from alerts.view.history.answer import LotStay, SubjectKind
from alerts.view.places.vessel_card import known_vessels
from ingest.cellar import Cellar
from ingest.journal.lot_locations import LotLocation
from ingest.journal.lots import LotBody
from ingest.journal.wine_places import LEAST_SHARE
from ingest.store import Store
from ingest.store.journal.entries import entries
from ingest.store.journal.lot_location_rows import stored_lot_locations, stored_lots_of
from ingest.store.journal.stored_ledger import equipment_of
from ingest.times import END_OF_TIME_MS

# An unknown name is answered with those that there are, as far as they can be read at a glance.
_MOST_NAMES: Final = 30


class SubjectChoice(NamedTuple):
    """One that a history can be asked of: its id, and what people call it ("" for nothing else)."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class HistorySubject:
    """kind, id, name: of the place or lot; stays: of a vessel the lots that were in it, of a lot the vessels that it
    was in, oldest first, where it was at least ``LEAST_SHARE`` of the wine or nobody knows how much.
    """

    kind: SubjectKind
    id: str
    name: str
    stays: tuple[LotStay, ...]

    @property
    def is_lot(self) -> bool:
        """Whether it moves from vessel to vessel."""
        return self.kind == "lot"

    @property
    def vessels(self) -> tuple[str, ...]:
        """The places that it is about, in the order in which they come up."""
        return tuple(dict.fromkeys(stay.vessel for stay in self.stays)) if self.is_lot else (self.id,)

    def without_empty(self, from_ms: int, to_ms: int) -> list[tuple[int, int]]:
        """The parts of a span in which a vessel is not known to be empty: its wine left it, and none has come since."""
        if self.kind != "vessel" or not self.stays:
            return [(from_ms, to_ms)]
        parts: list[tuple[int, int]] = []
        # Before the first wine that is known nobody has said that it was empty.
        begin_ms, end_ms = from_ms, self.stays[0].from_ms
        for stay in self.stays:
            if stay.from_ms > end_ms:
                parts.append((begin_ms, end_ms))
                begin_ms = stay.from_ms
            end_ms = max(end_ms, END_OF_TIME_MS if stay.to_ms is None else stay.to_ms)
        parts.append((begin_ms, end_ms))
        cut = ((max(begin, from_ms), min(end, to_ms)) for begin, end in parts)
        return [part for part in cut if part[0] < part[1]]

    def times_in(self, vessel: str, from_ms: int, to_ms: int) -> list[tuple[int, int]]:
        """The parts of from_ms <= at < to_ms in which a place belongs to it: all of it for the history of a place."""
        if not self.is_lot:
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


def other_choices(cellar: Cellar) -> list[SubjectChoice]:
    """List the gas cylinders and the rooms."""
    return [SubjectChoice(place.id, "") for place in cellar.places if place.kind in ("cylinder", "room")]


def subject_of(cellar: Cellar, store: Store, *, vessel: str = "", place: str = "", lot: str = "") -> HistorySubject:
    """Find the vessel, place (a vessel, cylinder or room) or lot; exactly one is given. Call inside ``store.read()``.

    Raises HistoryRefused, with what there is.
    """
    given = {"vessel": vessel, "place": place, "lot": lot}
    named = {what: id for what, id in given.items() if id}
    if len(named) != 1:
        raise HistoryRefused("name one vessel or one lot" + (", not both" if named else ""))
    ((what, id),) = named.items()
    known = lot_choices(store) if lot else vessel_choices(cellar, store)
    known += other_choices(cellar) if place else []
    names = {choice.id: choice.name for choice in known}
    if id not in names:
        there = ", ".join([*names][:_MOST_NAMES]) + (" and more" if len(names) > _MOST_NAMES else "")
        there = f"there are: {there}" if names else "there is none yet"
        raise HistoryRefused(f"there is no {what} '{id[:60]}'; {there}")
    equipment = equipment_of(store.connection, cellar)
    if lot:
        kind: SubjectKind = "lot"
        pairs = [(lot, location) for location in stored_lot_locations(store.connection, equipment, lot)]
    else:
        kind = _place_kind(cellar, id)
        pairs = stored_lots_of(store.connection, equipment, id) if kind == "vessel" else []
    return HistorySubject(kind, id, names[id], tuple(_stays(pairs)))


def _place_kind(cellar: Cellar, id: str) -> SubjectKind:
    """A vessel is also what an earlier cellar file had."""
    if any(cylinder.id == id for cylinder in cellar.cylinder):
        return "cylinder"
    return "room" if any(room.id == id for room in cellar.room) else "vessel"


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
