"""Numbers that people found: titrations and measurements of a vessel, or of a lot wherever it lay."""

from __future__ import annotations

__all__ = ["MOSTLY", "HandResult", "found_quantities", "hand_results", "hand_results_inside"]

import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from ingest.journal.kinds import result_units
from ingest.journal.lot_locations import LotLocations
from ingest.store.connection import Store
from ingest.store.journal.entry_rows import PLACE_IN_ORDER
from ingest.store.journal.lot_location_rows import lot_query
from ingest.store.journal.stored_ledger import equipment_of
from ingest.times import END_OF_TIME_MS

# What is found in a vessel speaks for a lot that makes up at least this part of its wine.
MOSTLY: Final = 0.5

_RESULTS: Final = (
    "SELECT result.entry, quantity, result.at_ms, value, u, json_extract(body, '$.unit'), result.vessel, result.lot,"
    " strike.id IS NOT NULL, coalesce(in_place_of, result.entry), written_ms"
    " FROM result JOIN entry ON entry.id = result.entry LEFT JOIN strike ON strike.entry = result.entry"
)

# Results that name a lot, or were found in its time in a vessel that it was in at some time.
_LOT_OR_THERE: Final = (
    "(result.lot = ? OR (result.at_ms BETWEEN ? AND ? AND result.vessel IN (SELECT value FROM json_each(?))))"
)


class HandResult(NamedTuple):
    """One number.

    entry: the journal entry's id; at_ms: when it was found (UTC ms); value and u (standard uncertainty, None if nobody
    gave it): in the unit; vessel, lot: what the entry names; share: where it was asked for by lot, that lot's part of
    the wine in the vessel at that time (of 1; None: not known, or not there); struck: the entry was crossed out.
    """

    entry: int
    quantity: str
    at_ms: int
    value: float
    u: float | None
    unit: str
    vessel: str | None
    lot: str | None
    share: float | None
    struck: bool


def hand_results(
    store: Store,
    quantity: str,
    *,
    lot: str | None = None,
    vessel: str | None = None,
    from_ms: int | None = None,
    to_ms: int | None = None,
    struck: bool = False,
    least_share: float = MOSTLY,
) -> list[HandResult]:
    """What was found of a quantity (free_so2, total_so2, pH, temperature, ...), in the order in which it was found.

    lot: that the entry names, or that made up at least least_share of the wine where it was found (0: any part, also
    one that is not known); vessel: also under a former name; from_ms, to_ms: from and before (UTC ms); struck: struck
    ones as well.
    """
    with store.read() as connection:
        return hand_results_inside(
            connection,
            quantity,
            lot=lot,
            vessel=vessel,
            from_ms=from_ms,
            to_ms=to_ms,
            struck=struck,
            least_share=least_share,
        )


def hand_results_inside(
    connection: sqlite3.Connection,
    quantity: str,
    *,
    lot: str | None = None,
    vessel: str | None = None,
    from_ms: int | None = None,
    to_ms: int | None = None,
    struck: bool = False,
    least_share: float = MOSTLY,
) -> list[HandResult]:
    """``hand_results`` inside a ``store.read()`` of the caller's."""
    conditions = ["quantity = ?", "result.at_ms >= ?", "result.at_ms < ?", "(? OR strike.id IS NULL)"]
    values = [quantity, from_ms or 0, END_OF_TIME_MS if to_ms is None else to_ms, struck]
    locations = None
    equipment = equipment_of(connection)
    if lot is not None:
        locations, of_lot = lot_query(connection, equipment, lot)
        conditions.append(_LOT_OR_THERE)
        values += of_lot
    query = f"{_RESULTS} WHERE {' AND '.join(conditions)} ORDER BY result.at_ms, {PLACE_IN_ORDER}"
    rows = connection.execute(query, values).fetchall()
    units, results = result_units(), []
    order = {}
    for *row, place_in_order, written_ms in rows:
        result = _result(row, units)
        order[result.entry] = place_in_order
        if result.vessel is not None:
            result = result._replace(vessel=equipment.name_now(result.vessel, written_ms))
        if vessel is None or result.vessel == vessel:
            results.append(result)
    return results if lot is None or locations is None else _of_lot(results, lot, locations, order, least_share)


def found_quantities(store: Store) -> set[str]:
    """Every quantity of which anything was ever found, struck or not."""
    return {row[0] for row in store.connection.execute("SELECT DISTINCT quantity FROM result")}


def _result(row: Sequence[Any], units: Mapping[str, str]) -> HandResult:
    entry, quantity, at_ms, value, u, unit, vessel, lot, struck = row
    unit = unit or units.get(quantity, "")
    return HandResult(entry, quantity, at_ms, value, u, unit, vessel, lot, None, bool(struck))


def _of_lot(
    results: Sequence[HandResult], lot: str, locations: LotLocations, order: Mapping[int, int], least_share: float
) -> list[HandResult]:
    """Those of a lot; order: entry -> its place among those of its time."""
    kept = []
    for result in results:
        location = None if result.vessel is None else locations.at(result.vessel, result.at_ms, order[result.entry])
        share = None if location is None else location.share
        there = result.lot is None and location is not None and (share or 0.0) >= least_share
        if result.lot == lot or there:
            kept.append(result._replace(share=share))
    return kept
