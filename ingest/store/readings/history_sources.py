"""Whose history is asked for, and which readings of which series, and which results, are that history."""

from __future__ import annotations

__all__ = ["HistorySource", "OfLot", "OfPlace", "OfProbe", "Share", "Whose", "history_sources", "results_of"]

from collections.abc import Iterable, Sequence
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


Whose = OfProbe | OfPlace | OfLot


class Share(NamedTuple):
    """From from_ms (UTC ms) on a lot was this part of the wine, of 1; None: nobody knows."""

    from_ms: int
    share: float | None


class HistorySource(NamedTuple):
    """The readings of one series with from_ms <= at < to_ms (UTC ms; None: up to now and on).

    probe, place: as they are called now; living: the probe is still there. shares: of a lot, oldest first and at least
    one; without a lot none.
    """

    series: int
    probe: str
    place: str
    quantity: str
    living: bool
    from_ms: int
    to_ms: int | None
    shares: tuple[Share, ...] = ()


def history_sources(store: Store, whose: Whose) -> list[HistorySource]:
    """All of them, in the order in which they begin; none of an unknown probe, place or lot."""
    with store.read() as connection:
        if isinstance(whose, OfProbe):
            found = [row for row in all_series(store) if row.probe == whose.probe]
            return [_whole(row) for row in found if row.quantity == found[-1].quantity]
        equipment = equipment_of(connection)
        measured = [_placed(row, equipment) for row in all_series(store) if row.quantity == whose.quantity]
        if isinstance(whose, OfPlace):
            return [_whole(row) for row in measured if row.place == whose.place]
        stays = _kept(stored_lot_locations(connection, equipment, whose.lot), whose.least_share)
    found_strands = [
        _through(row, stay) for stay in joined_locations(stays) for row in measured if row.place == stay[0].vessel
    ]
    return sorted((one for one in found_strands if one.to_ms is None or one.from_ms < one.to_ms), key=_begin)


def results_of(
    store: Store, whose: Whose, from_ms: int | None = None, to_ms: int | None = None, *, struck: bool = False
) -> list[HandResult]:
    """The results with from_ms <= at < to_ms, in the order in which they were found; a probe has none."""
    if isinstance(whose, OfPlace):
        return hand_results(store, whose.quantity, vessel=whose.place, from_ms=from_ms, to_ms=to_ms, struck=struck)
    if isinstance(whose, OfLot):
        return hand_results(
            store,
            whose.quantity,
            lot=whose.lot,
            from_ms=from_ms,
            to_ms=to_ms,
            struck=struck,
            least_share=whose.least_share,
        )
    return []


def _placed(row: Series, equipment: Equipment) -> Series:
    """The series with its place called as now: a file that renames a vessel renames only the series that live on."""
    if row.ended_ms is None:
        return row
    # What ended with the renaming file ended under the old name.
    return row._replace(place=equipment.name_now(row.place, row.ended_ms - 1))


def _kept(stays: Iterable[LotLocation], least_share: float) -> list[LotLocation]:
    return [stay for stay in stays if (stay.share or 0.0) >= least_share]


def _whole(row: Series) -> HistorySource:
    return HistorySource(row.id, row.probe, row.place, row.quantity, row.ended_ms is None, 0, None)


def _through(row: Series, stays: Sequence[LotLocation]) -> HistorySource:
    shares = tuple(Share(stay.from_ms, stay.share) for stay in stays)
    return HistorySource(
        row.id, row.probe, row.place, row.quantity, row.ended_ms is None, stays[0].from_ms, stays[-1].to_ms, shares
    )


def _begin(strand: HistorySource) -> tuple[int, int]:
    return (strand.from_ms, strand.series)
