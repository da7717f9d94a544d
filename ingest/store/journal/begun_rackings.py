"""Rackings that were begun and not finished, from the stored journal."""

from __future__ import annotations

__all__ = ["begun_rackings"]

import sqlite3
from typing import Final

from ingest.journal.open_rackings import OpenRacking
from ingest.journal.unfinished_rackings import unfinished
from ingest.store.journal.entry_rows import entry_of, unstruck
from ingest.store.journal.stored_ledger import equipment_of

_BEGIN_OR_FINISH: Final = (
    "kind = 'racking' AND (json_extract(body, '$.stage') = 'begun' OR json_extract(body, '$.begun') IS NOT NULL)"
)


def begun_rackings(connection: sqlite3.Connection) -> list[OpenRacking]:
    """Those that no entry finishes, newest first, however long ago they were begun. Call inside a transaction."""
    rows = connection.execute(unstruck(_BEGIN_OR_FINISH))
    return unfinished([entry_of(row) for row in rows], equipment_of(connection).name_now)
