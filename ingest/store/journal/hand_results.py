"""Numbers that people found: titrations and measurements of a vessel, or of a lot wherever it lay."""

from __future__ import annotations

__all__ = ["MOSTLY", "HandResult", "found_quantities", "hand_results"]

import json
from collections.abc import Sequence
from typing import Any, Final, NamedTuple

from ingest.journal.kinds.measurement import MEASURED_UNITS
from ingest.journal.kinds.titration import FOUND_UNITS
from ingest.journal.lot_locations import LotLocations
from ingest.store.connection import Store
from ingest.store.journal.lot_location_rows import stored_lot_locations
from ingest.store.journal.stored_ledger import equipment_of
from ingest.times import END_OF_TIME_MS

# What is found in a vessel speaks for a lot that makes up at least this part of its wine.
MOSTLY: Final = 0.5

_RESULTS: Final = (
    "SELECT result.entry, quantity, result.at_ms, value, u, json_extract(body, '$.unit'), result.vessel, result.lot,"
    " strike.id IS NOT NULL, written_ms"
    " FROM result JOIN entry ON entry.id = result.entry LEFT JOIN strike ON strike.entry = result.entry"
)

# Results that name a lot, or were found in its time in a vessel that it was in at some time.
_LOT_OR_THERE: Final = (
    "(result.lot = ? OR (result.at_ms BETWEEN ? AND ? AND result.vessel IN (SELECT value FROM json_each(?))))"
)


class HandResult(NamedTuple):
    """One number.

    entry: the journal entry's id; at_ms: when it was found (UTC ms); value and u (standard uncertainty, None if nobody
    told it): in the unit; vessel, lot: what the entry names; share: where it was asked for by lot, that lot's part of
    the wine in the vessel then (of 1; None: not known, or not there); struck: the entry was crossed out.
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
    one that nobody knows); vessel: also under a former name; from_ms, to_ms: from and before (UTC ms); struck: struck
    ones as well.
    """
    wanted = ["quantity = ?", "result.at_ms >= ?", "result.at_ms < ?", "(? OR strike.id IS NULL)"]
    values = [quantity, 0 if from_ms is None else from_ms, END_OF_TIME_MS if to_ms is None else to_ms, struck]
    with store.read() as connection:
        equipment = equipment_of(connection)
        stays = None if lot is None else stored_lot_locations(connection, equipment, lot)
        if stays is not None:
            wanted.append(_LOT_OR_THERE)
            ends = [END_OF_TIME_MS if stay.to_ms is None else stay.to_ms for stay in stays]
            names = {name for stay in stays for name in equipment.names_ever(stay.vessel)}
            values += [lot, min((stay.from_ms for stay in stays), default=0), max(ends, default=-1)]
            values.append(json.dumps(sorted(names)))
        query = f"{_RESULTS} WHERE {' AND '.join(wanted)} ORDER BY result.at_ms, result.entry"
        rows = connection.execute(query, values).fetchall()
    found = []
    for row in rows:
        one = _result(row)
        if one.vessel is not None:
            one = one._replace(vessel=equipment.name_now(one.vessel, row[-1]))
        if vessel is None or one.vessel == vessel:
            found.append(one)
    return found if lot is None or stays is None else _of_lot(found, lot, LotLocations(stays), least_share)


def found_quantities(store: Store) -> set[str]:
    """Every quantity of which anything was ever found, struck or not."""
    return {row[0] for row in store.connection.execute("SELECT DISTINCT quantity FROM result")}


def _result(row: Sequence[Any]) -> HandResult:
    entry, quantity, at_ms, value, u, unit, vessel, lot, struck, _ = row
    unit = unit or FOUND_UNITS.get(quantity) or MEASURED_UNITS.get(quantity, "")
    return HandResult(entry, quantity, at_ms, value, u, unit, vessel, lot, None, bool(struck))


def _of_lot(found: Sequence[HandResult], lot: str, stays: LotLocations, least_share: float) -> list[HandResult]:
    kept = []
    for one in found:
        stay = None if one.vessel is None else stays.at(one.vessel, one.at_ms, one.entry)
        there = one.lot is None and stay is not None and (stay.share or 0.0) >= least_share
        if one.lot == lot or there:
            kept.append(one._replace(share=None if stay is None else stay.share))
    return kept
