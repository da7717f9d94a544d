"""Rows of the tables entry and strike as entries of the journal."""

from __future__ import annotations

__all__ = ["ENTRY_ROWS", "PLACE_IN_ORDER", "entry_of", "insert_entry", "insert_strike", "unstruck"]

import sqlite3
from typing import Any, Final

from pydantic import ValidationError

from ingest.errors import StoreError
from ingest.journal.body import body_data
from ingest.journal.entry import Entry, Strike
from ingest.journal.kinds import parse_stored_body

PLACE_IN_ORDER: Final = "coalesce(entry.in_place_of, entry.id)"
"""By what entries of one time are ordered (``Entry.key``)."""

ENTRY_ROWS: Final = (
    "SELECT entry.id, kind, entry.at_ms, written_ms, entry.who, place, lot, body, in_place_of,"
    " strike.at_ms, strike.who, reason, together_with"
    " FROM entry LEFT JOIN strike ON strike.entry = entry.id"
)


def unstruck(condition: str) -> str:
    """The query of entries that hold and meet a condition of ours, in the order in which they happened."""
    columns = "entry.id, kind, at_ms, written_ms, who, place, lot, body, in_place_of, NULL, NULL, NULL, NULL"
    holds = "NOT EXISTS (SELECT 1 FROM strike WHERE strike.entry = entry.id)"
    return f"SELECT {columns} FROM entry WHERE {condition} AND {holds} ORDER BY at_ms, {PLACE_IN_ORDER}"  # noqa: S608  a condition of ours


def entry_of(row: tuple[Any, ...]) -> Entry:
    """A row of ``ENTRY_ROWS`` or ``unstruck`` as an entry. Raises StoreError for one that cannot be read."""
    id, kind, at_ms, written_ms, who, place, lot, body, in_place_of, struck_ms, struck_by, reason, along = row
    struck = None if struck_ms is None else Strike(struck_ms, struck_by, reason, along)
    try:
        said = parse_stored_body(kind, body)
    except (ValidationError, KeyError) as error:
        why = str(error).splitlines()[0]
        raise StoreError(
            f"entry no. {id} of the journal ({kind}) cannot be read: {why}. Another leeside may have written it; else "
            "the store is damaged: try `leeside check --store`"
        ) from error
    return Entry(id, kind, at_ms, written_ms, who, place, lot, said, struck, in_place_of)


def insert_entry(connection: sqlite3.Connection, entry: Entry) -> None:
    """Add an entry, its places and its results; call inside the transaction that checked it."""
    connection.execute(
        "INSERT INTO entry (id, kind, at_ms, written_ms, who, place, lot, body, in_place_of)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            entry.id,
            entry.kind,
            entry.at_ms,
            entry.written_ms,
            entry.who,
            entry.place,
            entry.lot,
            body_data(entry.body),
            entry.in_place_of,
        ),
    )
    connection.executemany(
        "INSERT INTO entry_place (place, entry) VALUES (?, ?)",
        [(place, entry.id) for place in entry.places],
    )
    connection.executemany(
        "INSERT INTO result (entry, quantity, lot, vessel, at_ms, value, u) VALUES (?, ?, ?, ?, ?, ?, ?)",
        [
            (entry.id, result.quantity, entry.lot, entry.place, entry.at_ms, result.value, result.u)
            for result in entry.body.results
        ],
    )


def insert_strike(connection: sqlite3.Connection, entry: int, strike: Strike) -> None:
    """Cross out an entry."""
    connection.execute(
        "INSERT INTO strike (entry, at_ms, who, reason, together_with) VALUES (?, ?, ?, ?, ?)",
        (entry, strike.at_ms, strike.who, strike.reason, strike.together_with),
    )
