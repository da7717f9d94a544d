"""Is the store whole, and what does it hold? For a look at it, beside a running leeside."""

from __future__ import annotations

__all__ = ["Health", "examine"]

import sqlite3
from dataclasses import dataclass
from typing import Final

from ingest.store.connection import Store, translate
from ingest.store.migrations import version_of

# Up to this size the check that also compares every index with its table takes seconds on a small board.
_WHOLE_CHECK_BYTES: Final = 256 * 1024 * 1024
_MOST_FAULTS: Final = 20


@dataclass(frozen=True, slots=True)
class Health:
    """How a store is.

    faults: what SQLite found, () for a whole store; check: the pragma that was run; size_bytes: the file with its log;
    schema: the newest migration; oldest_ms, newest_ms: UTC ms of the oldest and newest reading, None for none or in
    a damaged store.
    """

    faults: tuple[str, ...]
    check: str
    size_bytes: int
    schema: int
    oldest_ms: int | None
    newest_ms: int | None


def examine(store: Store) -> Health:
    """Check the whole file. It reads all of it: seconds to minutes, in which the log beside it can grow.

    Raises StoreError where the file cannot even be read.
    """
    files = [store.path, store.path.with_name(f"{store.path.name}-wal")]
    size_bytes = sum(file.stat().st_size for file in files if file.exists())
    check = "integrity_check" if size_bytes <= _WHOLE_CHECK_BYTES else "quick_check"
    faults = _faults(store.connection, check)
    try:
        oldest, newest = (None, None) if faults else _span(store.connection)
        schema = version_of(store.connection)
    except sqlite3.Error as error:
        raise translate(error, store.path) from error
    return Health(faults, check, size_bytes, schema, oldest, newest)


def _faults(connection: sqlite3.Connection, check: str) -> tuple[str, ...]:
    faults = []
    try:
        for (text,) in connection.execute(f"PRAGMA {check}({_MOST_FAULTS})"):
            if text != "ok":
                faults.append(" ".join(str(text).split()))
    except sqlite3.DatabaseError as error:  # a page so damaged that the check itself ends there
        faults.append(str(error))
    return tuple(faults)


def _span(connection: sqlite3.Connection) -> tuple[int | None, int | None]:
    """Oldest and newest of all readings, fresh and settled."""
    oldest, newest = connection.execute("SELECT min(at), max(at) FROM fresh").fetchone()
    first, last = connection.execute("SELECT min(from_ms), max(to_ms) FROM block").fetchone()
    return (
        min((at for at in (oldest, first) if at is not None), default=None),
        max((at for at in (newest, last) if at is not None), default=None),
    )
