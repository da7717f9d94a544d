"""Where lots lay, kept beside the journal so that no look folds all of it, and made anew where the past changes."""

from __future__ import annotations

__all__ = ["keep_contents", "renew_lot_locations", "stored_lot_locations"]

import logging
import sqlite3
from collections.abc import Iterable

from ingest.errors import StoreError
from ingest.journal.equipment import Equipment
from ingest.journal.ledger import BEGINNING, Ledger
from ingest.journal.lot_locations import LotLocation, ShareChange, lot_locations_of, share_changes
from ingest.store.connection import Store
from ingest.store.journal.stored_ledger import drop_snapshots, equipment_of, keep_snapshots, load_ledger, names_of

_LOG = logging.getLogger(__name__)


def stored_lot_locations(connection: sqlite3.Connection, equipment: Equipment, lot: str) -> list[LotLocation]:
    """Where a lot was and is, in the order in which it came there. Call inside a transaction."""
    if not _are_made(connection, equipment):
        return lot_locations_of(share_changes(load_ledger(connection, equipment), BEGINNING[:2]), lot)
    rows = connection.execute(
        "SELECT vessel, from_ms, to_ms, share, from_entry, to_entry FROM lot_stay WHERE lot = ?"
        " ORDER BY from_ms, from_entry, id",
        (lot,),
    )
    return [LotLocation(*row) for row in rows]


def keep_contents(connection: sqlite3.Connection, folding: Ledger, first: tuple[int, int]) -> None:
    """Keep what vessels hold and where lots lie once entries from that place in the order (at_ms, id) on have changed;
    call inside the writing transaction. folding: loaded from before that place, with the change.
    """
    drop_snapshots(connection, first)
    keep_snapshots(connection, folding)
    if not _are_made(connection, folding.equipment):
        _make(connection, folding.equipment)
        return
    connection.execute("DELETE FROM lot_stay WHERE (from_ms, from_entry) >= (?, ?)", first)
    connection.execute(
        "UPDATE lot_stay SET to_ms = NULL, to_entry = NULL WHERE to_ms >= ? AND (to_ms, to_entry) >= (?, ?)",
        (first[0], *first),
    )
    _keep(connection, share_changes(folding, first))


def renew_lot_locations(store: Store) -> bool:
    """Work out where lots lay if that is not kept, or with other names of vessels; True if it was done.

    An entry that cannot be read is no reason not to start: it is logged, and every look that needs it tells of it.
    """
    with store.write() as connection:
        equipment = equipment_of(connection)
        if _are_made(connection, equipment):
            return False
        try:
            _make(connection, equipment)
        except StoreError as error:
            _LOG.warning("where lots lay cannot be worked out: %s", error)
            return False
    return True


def _make(connection: sqlite3.Connection, equipment: Equipment) -> None:
    folding = load_ledger(connection, equipment)
    connection.execute("DELETE FROM lot_stay")
    connection.execute("DELETE FROM lot_stays_made")
    connection.execute("INSERT INTO lot_stays_made (names) VALUES (?)", (names_of(equipment),))
    _keep(connection, share_changes(folding, BEGINNING[:2]))


def _keep(connection: sqlite3.Connection, changes: Iterable[ShareChange]) -> None:
    for lot, vessel, at_ms, entry, there, share in changes:
        connection.execute(
            "UPDATE lot_stay SET to_ms = ?, to_entry = ? WHERE lot = ? AND vessel = ? AND to_ms IS NULL",
            (at_ms, entry, lot, vessel),
        )
        if there:
            connection.execute(
                "INSERT INTO lot_stay (lot, vessel, from_ms, from_entry, share) VALUES (?, ?, ?, ?, ?)",
                (lot, vessel, at_ms, entry, share),
            )


def _are_made(connection: sqlite3.Connection, equipment: Equipment) -> bool:
    made = connection.execute("SELECT names FROM lot_stays_made").fetchone()
    return made is not None and made[0] == names_of(equipment)
