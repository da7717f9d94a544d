"""A request that is sent again writes no second entry: the key of each is kept with what it wrote.

The key is the requester's, made for one request and sent again with each try of it (IETF HTTPAPI, The Idempotency-Key
HTTP Header Field, draft). It is stored in the transaction that writes the entries, so there is never one without the
other.
"""

from __future__ import annotations

__all__ = ["KeyUsed", "Once", "key_used", "write_once"]

import sqlite3
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from ingest.errors import IngestError
from ingest.journal.entry import Entry
from ingest.store.connection import Store
from ingest.store.journal.entries import entry_inside

# A form that is kept in a browser without a connection is sent again within hours; this is far beyond that.
_KEPT_MS: Final = 400 * 86_400_000


class Once(NamedTuple):
    """key: of one request, by whoever makes it; request: a digest of all that it asks for."""

    key: str
    request: str


class KeyUsed(IngestError):
    """A key under which something else was written: ``entries``."""

    def __init__(self, entries: Sequence[Entry]) -> None:
        self.entries = tuple(entries)
        numbers = ", ".join(f"no. {entry.id}" for entry in entries)
        super().__init__(f"this request has written {numbers} already, and now asks for something else")


def write_once(
    connection: sqlite3.Connection, once: Once | None, now_ms: int, write: Callable[[], Sequence[Entry]]
) -> list[Entry]:
    """Write entries, or give those that this request wrote before. Call inside the transaction; once: None for no key.

    Raises KeyUsed where the key stands for another request.
    """
    if once is None:
        return list(write())
    before = _entries(connection, once.key)
    if before is not None:
        request, entries = before
        if request != once.request:
            raise KeyUsed(entries)
        return entries
    written = list(write())
    connection.execute("DELETE FROM idempotency_key WHERE written_ms < ?", (now_ms - _KEPT_MS,))
    connection.executemany(
        "INSERT INTO idempotency_key (key, entry, request, written_ms) VALUES (?, ?, ?, ?)",
        [(once.key, entry.id, once.request, now_ms) for entry in written],
    )
    return written


def key_used(store: Store, once: Once) -> list[Entry]:
    """Give what a request wrote before, [] for nothing yet. Raises KeyUsed where its key stands for another one."""
    with store.read() as connection:
        before = _entries(connection, once.key)
    if before is None:
        return []
    request, entries = before
    if request != once.request:
        raise KeyUsed(entries)
    return entries


def _entries(connection: sqlite3.Connection, key: str) -> tuple[str, list[Entry]] | None:
    """The request that a key stands for, and what it wrote; None for a new key."""
    rows = connection.execute(
        "SELECT request, entry FROM idempotency_key WHERE key = ? ORDER BY entry", (key,)
    ).fetchall()
    if not rows:
        return None
    found = (entry_inside(connection, number) for _, number in rows)
    return rows[0][0], [entry for entry in found if entry is not None]
