"""Every cellar file that ever ran on this store, with its time."""

from __future__ import annotations

__all__ = ["cellar_files", "keep_cellar_file"]

import hashlib

from ingest.store.connection import Store


def keep_cellar_file(store: Store, text: str, now_ms: int) -> bool:
    """Keep the text if it differs from the one kept last; return whether it did."""
    new = _keep(store, text, now_ms)
    entries, made = store.connection.execute(
        "SELECT EXISTS (SELECT 1 FROM entry), EXISTS (SELECT 1 FROM lot_stays_made)"
    ).fetchone()
    # With vessels renamed, lots lay elsewhere by name. Only then are the journal's rooms worth their memory in ingest.
    if entries and (new or not made):
        from ingest.store.journal.lot_location_rows import renew_lot_locations

        renew_lot_locations(store)
    return new


def _keep(store: Store, text: str, now_ms: int) -> bool:
    digest = hashlib.sha256(text.encode()).hexdigest()
    with store.write() as connection:
        row = connection.execute("SELECT digest FROM cellar_file ORDER BY id DESC LIMIT 1").fetchone()
        if row is not None and row[0] == digest:
            return False
        connection.execute("INSERT INTO cellar_file (from_ms, digest, text) VALUES (?, ?, ?)", (now_ms, digest, text))
    return True


def cellar_files(store: Store) -> list[tuple[int, str]]:
    """Read (from when, UTC ms; the text) of every cellar file that ran, in that order."""
    return store.connection.execute("SELECT from_ms, text FROM cellar_file ORDER BY id").fetchall()
