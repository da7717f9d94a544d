"""Whether the journal, or the cellar files that it is read with, changed: for readers that work something out of it."""

from __future__ import annotations

__all__ = ["journal_version"]

from ingest.store.connection import Store


def journal_version(store: Store) -> tuple[int, ...]:
    """Give what differs after every entry, strike and cellar file. Cheap."""
    # Entries are counted: an import may bring one whose number is not the highest.
    row = store.connection.execute(
        "SELECT (SELECT count(*) FROM entry), (SELECT count(*) FROM strike),"
        " (SELECT coalesce(max(id), 0) FROM cellar_file)"
    ).fetchone()
    return tuple(row)
