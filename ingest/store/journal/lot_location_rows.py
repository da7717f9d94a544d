"""Where lots lay, kept beside the journal: to work it out for one lot takes a fold of all entries, 0.15 s of 10,000."""

from __future__ import annotations

__all__ = ["keep_contents", "lot_query", "renew_lot_locations", "stored_lot_locations", "stored_lots_of"]

import json
import logging
import sqlite3
from typing import Any

from ingest.errors import StoreError
from ingest.journal.equipment import Equipment
from ingest.journal.ledger import BEGINNING, Ledger
from ingest.journal.lot_locations import LotLocation, LotLocations, lot_locations_of, share_changes
from ingest.store.connection import Store
from ingest.store.journal.stored_ledger import drop_snapshots, equipment_of, keep_snapshots, load_ledger, renames_text
from ingest.times import END_OF_TIME_MS

_LOG = logging.getLogger(__name__)


def stored_lot_locations(connection: sqlite3.Connection, equipment: Equipment, lot: str) -> list[LotLocation]:
    """Where a lot was and is, in the order in which it came there. Call inside a transaction."""
    if not _are_kept(connection, equipment):
        return lot_locations_of(share_changes(load_ledger(connection, equipment), BEGINNING[:2]), lot)
    rows = connection.execute(
        "SELECT vessel, from_ms, to_ms, share, from_entry, to_entry FROM lot_stay WHERE lot = ?"
        " ORDER BY from_ms, from_entry, id",
        (lot,),
    )
    return [LotLocation(*row) for row in rows]


def stored_lots_of(connection: sqlite3.Connection, equipment: Equipment, vessel: str) -> list[tuple[str, LotLocation]]:
    """Which lots were and are in a vessel, each with its location there, by when it came. Call inside a transaction."""
    if not _are_kept(connection, equipment):
        changes = list(share_changes(load_ledger(connection, equipment), BEGINNING[:2]))
        lots = dict.fromkeys(change.lot for change in changes if change.vessel == vessel)
        found = [
            (lot, location) for lot in lots for location in lot_locations_of(changes, lot) if location.vessel == vessel
        ]
        return sorted(found, key=lambda each: (each[1].from_ms, each[1].from_entry))
    rows = connection.execute(
        "SELECT lot, vessel, from_ms, to_ms, share, from_entry, to_entry FROM lot_stay WHERE vessel = ?"
        " ORDER BY from_ms, from_entry, id",
        (vessel,),
    )
    return [(lot, LotLocation(*row)) for lot, *row in rows]


def lot_query(connection: sqlite3.Connection, equipment: Equipment, lot: str) -> tuple[LotLocations, list[Any]]:
    """Give where a lot lay, and what a query can choose rows by before that says of each whether the lot was there: the
    lot, the first and last moment of it anywhere (UTC ms), and every name of its vessels as a JSON array.
    """
    locations = stored_lot_locations(connection, equipment, lot)
    first_ms = min((location.from_ms for location in locations), default=0)
    ends = [END_OF_TIME_MS if location.to_ms is None else location.to_ms for location in locations]
    names = {name for location in locations for name in equipment.names_ever(location.vessel)}
    return LotLocations(locations), [lot, first_ms, max(ends, default=-1), json.dumps([*names])]


def keep_contents(connection: sqlite3.Connection, ledger: Ledger, first: tuple[int, int]) -> None:
    """Keep what vessels hold and where lots lie once entries from that place in the order (at_ms, id) on have changed;
    call inside the writing transaction. ledger: loaded from before that place, with the change.
    """
    drop_snapshots(connection, first)
    keep_snapshots(connection, ledger)
    if _are_kept(connection, ledger.equipment):
        _keep(connection, ledger, first)
    else:
        _keep_all(connection, ledger.equipment)


def renew_lot_locations(store: Store) -> bool:
    """Work out where lots lay if that is not kept, or with other names of vessels; True if it was done.

    An entry that cannot be read does not prevent a start: it is logged, and every look that needs it says so.
    """
    with store.write() as connection:
        equipment = equipment_of(connection)
        if _are_kept(connection, equipment):
            return False
        try:
            _keep_all(connection, equipment)
        except StoreError as error:
            _LOG.warning("where lots lay cannot be worked out: %s", error)
            return False
    return True


def _keep_all(connection: sqlite3.Connection, equipment: Equipment) -> None:
    _keep(connection, load_ledger(connection, equipment), BEGINNING[:2])
    connection.execute("DELETE FROM lot_stays_made")
    connection.execute("INSERT INTO lot_stays_made (names) VALUES (?)", (renames_text(equipment),))


def _keep(connection: sqlite3.Connection, ledger: Ledger, first: tuple[int, int]) -> None:
    connection.execute("DELETE FROM lot_stay WHERE (from_ms, from_entry) >= (?, ?)", first)
    connection.execute(
        "UPDATE lot_stay SET to_ms = NULL, to_entry = NULL WHERE to_ms >= ? AND (to_ms, to_entry) >= (?, ?)",
        (first[0], *first),
    )
    for lot, vessel, at_ms, entry, there, share in share_changes(ledger, first):
        connection.execute(
            "UPDATE lot_stay SET to_ms = ?, to_entry = ? WHERE lot = ? AND vessel = ? AND to_ms IS NULL",
            (at_ms, entry, lot, vessel),
        )
        if there:
            connection.execute(
                "INSERT INTO lot_stay (lot, vessel, from_ms, from_entry, share) VALUES (?, ?, ?, ?, ?)",
                (lot, vessel, at_ms, entry, share),
            )


def _are_kept(connection: sqlite3.Connection, equipment: Equipment) -> bool:
    row = connection.execute("SELECT names FROM lot_stays_made").fetchone()
    return row is not None and row[0] == renames_text(equipment)
