"""Rackings that were begun and not finished, from the stored journal."""

from __future__ import annotations

__all__ = ["Rackings", "begun_rackings"]

import sqlite3
from typing import Final

from ingest.journal.kinds.racking import unfinished
from ingest.journal.open_rackings import OpenRacking
from ingest.store.connection import Store
from ingest.store.journal.entry_rows import entry_of, unstruck
from ingest.store.journal.stored_ledger import equipment_of

_BEGIN_OR_FINISH: Final = (
    "kind = 'racking' AND (json_extract(body, '$.stage') = 'begun' OR json_extract(body, '$.begun') IS NOT NULL)"
)


def begun_rackings(connection: sqlite3.Connection) -> list[OpenRacking]:
    """Those that no entry finishes, newest first, however long ago they were begun. Call inside a transaction."""
    rows = connection.execute(unstruck(_BEGIN_OR_FINISH))
    return unfinished([entry_of(row) for row in rows], equipment_of(connection).name_now)


class Rackings:
    """The rackings under way, worked out anew only when journal or cellar file changed."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._seen: tuple[int, ...] | None = None
        self._begun: list[OpenRacking] = []

    def vessels(self, now_ms: int) -> frozenset[str]:
        """The vessels of rackings that are under way at a time (UTC ms)."""
        seen = self._store.connection.execute(
            "SELECT (SELECT count(*) FROM entry), (SELECT count(*) FROM strike),"
            " (SELECT coalesce(max(id), 0) FROM cellar_file)"
        ).fetchone()
        if seen != self._seen:
            with self._store.read() as connection:
                self._begun = begun_rackings(connection)
            self._seen = seen
        return frozenset(vessel for one in self._begun if one.lasts(now_ms) for vessel in one.vessels)
