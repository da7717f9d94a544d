"""What a history is about, and the readings and results that belong to it."""

from __future__ import annotations

__all__ = ["HistorySource", "OfLot", "OfPlace", "OfProbe", "Share", "Subject", "history_sources", "results_of"]

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from ingest.journal.equipment import Equipment
from ingest.journal.lot_locations import LotLocation, joined_locations
from ingest.store.connection import Store
from ingest.store.journal.hand_results import HandResult, hand_results
from ingest.store.journal.lot_location_rows import stored_lot_locations
from ingest.store.journal.stored_ledger import equipment_of
from ingest.store.readings.series import Series, all_series


@dataclass(frozen=True, slots=True)
class OfProbe:
    """What a probe has read, wherever it was, of the quantity that it measures now, or measured last."""

    probe: str


@dataclass(frozen=True, slots=True)
class OfPlace:
    """What was read of a quantity at a place (a vessel, cylinder or room), by whichever probe, and found by people."""

    place: str
    quantity: str


@dataclass(frozen=True, slots=True)
class OfLot:
    """What was read of a quantity in the vessels where a lot lay, while it did, and found there or of the lot.

    least_share: only where the lot is known to be at least this part of the wine (of 1); 0 takes any part, known or
    not.
    """

    lot: str
    quantity: str
    least_share: float = 0.0


Subject = OfProbe | OfPlace | OfLot


class Share(NamedTuple):
    """From from_ms (UTC ms) on a lot was this part of the wine, of 1; None: not known."""

    from_ms: int
    share: float | None


class HistorySource(NamedTuple):
    """The readings of one series with from_ms <= at < to_ms (UTC ms; None: up to now and on).

    probe, place: as they are called now; living: the probe is still there. shares: of a lot, oldest first and at least
    one; empty if no lot was asked for.
    """

    series: int
    probe: str
    place: str
    quantity: str
    living: bool
    from_ms: int
    to_ms: int | None
    shares: tuple[Share, ...] = ()

    def within(self, from_ms: int, to_ms: int) -> tuple[int, int]:
        """(begin, end) of that part of a span which it covers; it covers none of it where begin >= end."""
        return max(self.from_ms, from_ms), to_ms if self.to_ms is None else min(self.to_ms, to_ms)


def history_sources(store: Store, subject: Subject) -> tuple[HistorySource, ...]:
    """Where the readings of a history come from, in the order in which they begin; () for what nobody knows.

    For a lot there is one for each time in a vessel and each probe there, with the lot's shares.
    """
    with store.read() as connection:
        known = all_series(store)
        if isinstance(subject, OfProbe):
            of_probe = [series for series in known if series.probe == subject.probe]
            return tuple(_source(series) for series in of_probe if series.quantity == of_probe[-1].quantity)
        equipment = equipment_of(connection)
        measured = [_placed(series, equipment) for series in known if series.quantity == subject.quantity]
        if isinstance(subject, OfPlace):
            return tuple(_source(series) for series in measured if series.place == subject.place)
        locations = stored_lot_locations(connection, equipment, subject.lot)
    shared = [location for location in locations if (location.share or 0.0) >= subject.least_share]
    sources = [
        _source(series, together)
        for together in joined_locations(shared)
        for series in measured
        if series.place == together[0].vessel
    ]
    lasting = [source for source in sources if source.to_ms is None or source.from_ms < source.to_ms]
    return tuple(sorted(lasting, key=lambda source: (source.from_ms, source.series)))


def results_of(
    store: Store, subject: Subject, from_ms: int | None = None, to_ms: int | None = None, *, struck: bool = False
) -> list[HandResult]:
    """The results with from_ms <= at < to_ms, in the order in which they were found; a probe has none."""
    match subject:
        case OfPlace(place, quantity):
            return hand_results(store, quantity, vessel=place, from_ms=from_ms, to_ms=to_ms, struck=struck)
        case OfLot(lot, quantity, least_share):
            return hand_results(
                store, quantity, lot=lot, from_ms=from_ms, to_ms=to_ms, struck=struck, least_share=least_share
            )
        case OfProbe():
            return []


def _placed(series: Series, equipment: Equipment) -> Series:
    """The series with its place's present name: a file that renames a vessel renames only the series that live on."""
    if series.ended_ms is None:
        return series
    # A series that ended with the renaming file ended under the old name.
    return series._replace(place=equipment.name_now(series.place, series.ended_ms - 1))


def _source(series: Series, locations: Sequence[LotLocation] = ()) -> HistorySource:
    """All of a series, or what it read during a lot's locations, which follow each other in one vessel."""
    from_ms, to_ms = (locations[0].from_ms, locations[-1].to_ms) if locations else (0, None)
    shares = tuple(Share(location.from_ms, location.share) for location in locations)
    living = series.ended_ms is None
    return HistorySource(series.id, series.probe, series.place, series.quantity, living, from_ms, to_ms, shares)
