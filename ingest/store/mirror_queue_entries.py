"""Entries of the journal, and strikes, that the mirror has yet to send.

Each has a place of its own: the number of the last entry that was sent, and that of the last strike. An import can
bring entries of lower numbers than one that was sent. How many were sent up to the place tells it, since none is ever
deleted; then all are sent again, which changes nothing at the mirror.
"""

from __future__ import annotations

__all__ = ["keep_entries", "keep_strikes", "next_entries", "next_strikes", "unsent_entries"]

from collections.abc import Sequence
from typing import NamedTuple

from ingest.journal.entry import Entry
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.connection import Store
from ingest.store.journal.entry_rows import ENTRY_ROWS, entry_of
from ingest.store.mirror_queue import ENTRIES, ENTRIES_COUNTED, STRIKES


class _Place(NamedTuple):
    """entry: the number of the last one sent; counted: how many were sent up to it."""

    entry: int
    counted: int


def next_entries(store: Store, most: int) -> list[Entry]:
    """The next entries that were not sent, in order of their numbers."""
    place = _place(store)
    rows = store.connection.execute(
        f"{ENTRY_ROWS} WHERE entry.id > ? ORDER BY entry.id LIMIT ?", (place.entry, most)
    ).fetchall()
    return [entry_of(row) for row in rows]


def keep_entries(store: Store, sent: Sequence[Entry]) -> None:
    """What ``next_entries`` gave is sent."""
    place = _place(store)
    with store.write() as connection:
        set_cursor(connection, ENTRIES, sent[-1].id)
        set_cursor(connection, ENTRIES_COUNTED, place.counted + len(sent))


def next_strikes(store: Store, most: int) -> list[tuple[int, Entry]]:
    """The next strikes that were not sent, by number, each with the entry that it crosses out."""
    rows = store.connection.execute(
        "SELECT id, entry FROM strike WHERE id > ? ORDER BY id LIMIT ?", (cursor(store, STRIKES) or 0, most)
    ).fetchall()
    one = f"{ENTRY_ROWS} WHERE entry.id = ?"
    return [(int(id), entry_of(store.connection.execute(one, (entry,)).fetchone())) for id, entry in rows]


def keep_strikes(store: Store, reached: int) -> None:
    """Strikes up to this number are sent."""
    with store.write() as connection:
        set_cursor(connection, STRIKES, reached)


def unsent_entries(store: Store) -> int:
    """How many entries and strikes were not sent yet."""
    strikes = "SELECT count(*) FROM strike WHERE id > ?"
    found = store.connection.execute(strikes, (cursor(store, STRIKES) or 0,)).fetchone()[0]
    return int(found) + _after(store, _place(store).entry)


def _place(store: Store) -> _Place:
    """The place of now: the beginning, if entries were put in before the one that was kept."""
    place = _Place(cursor(store, ENTRIES) or 0, cursor(store, ENTRIES_COUNTED) or 0)
    total = int(store.connection.execute("SELECT count(*) FROM entry").fetchone()[0])
    return place if total - _after(store, place.entry) == place.counted else _Place(0, 0)


def _after(store: Store, entry: int) -> int:
    return int(store.connection.execute("SELECT count(*) FROM entry WHERE id > ?", (entry,)).fetchone()[0])
