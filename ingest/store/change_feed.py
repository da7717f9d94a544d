"""The change feed, and the durable cursors of what follows it.

Fresh readings enter the feed with a pulse of the daemon, not with each commit: a page less for each of the commits of a
day. The cursor ``FED`` says which of them have entered, so that none is left out after a crash.
"""

from __future__ import annotations

__all__ = [
    "DAY_MS",
    "DROPPED",
    "FED",
    "MIRROR",
    "SETTLED",
    "SUMMARIES",
    "Touch",
    "cursor",
    "prune_feed",
    "set_cursor",
    "touch",
    "touched_after",
    "unfed",
]

import sqlite3
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from ingest.store.connection import Store

DAY_MS: Final = 86_400_000

# Before this day (UTC days since 1970) single readings may be gone by the owner's wish.
DROPPED = "raw dropped"

# Fresh rows up to this id are in the feed.
FED = "fed fresh"

# Rows of ``fresh`` up to this id were settled; an id is never used again.
SETTLED = "settled fresh"

# The follower that keeps the summaries up, and the one that sends to the mirror.
SUMMARIES = "summaries"
MIRROR = "mirror"


class Touch(NamedTuple):
    """Readings of ``series`` between from_ms and to_ms (both included) were added or changed."""

    seq: int
    series: int
    from_ms: int
    to_ms: int


def touched_after(store: Store, seq: int, limit: int = 1000) -> list[Touch]:
    """Read the next changes after ``seq``, in the order they were committed."""
    rows = store.connection.execute(
        "SELECT seq, series, from_ms, to_ms FROM touched WHERE seq > ? ORDER BY seq LIMIT ?", (seq, limit)
    )
    return [Touch(*row) for row in rows]


def unfed(store: Store) -> list[tuple[int, int, int]]:
    """Read (series, from_ms, to_ms), both ends included, of the fresh readings that are not in the feed yet, by day."""
    return store.connection.execute(
        "SELECT series, min(at), max(at) FROM fresh WHERE id > ? GROUP BY series, at / ?",
        (cursor(store, FED) or 0, DAY_MS),
    ).fetchall()


def touch(connection: sqlite3.Connection, spans: Iterable[tuple[int, int, int]]) -> None:
    """Add spans (series, from_ms, to_ms), both ends included, to the feed; call inside a transaction."""
    connection.executemany("INSERT INTO touched (series, from_ms, to_ms) VALUES (?, ?, ?)", spans)


def cursor(store: Store, name: str) -> int | None:
    """Read how far the follower ``name`` has come, None if it never said."""
    row = store.connection.execute("SELECT value FROM cursor WHERE name = ?", (name,)).fetchone()
    return int(row[0]) if row else None


def set_cursor(connection: sqlite3.Connection, name: str, value: int) -> None:
    """Keep a follower's place; call inside the transaction that holds what was done up to there."""
    connection.execute(
        "INSERT INTO cursor (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        (name, value),
    )


def prune_feed(store: Store, followers: Sequence[str], at_once: int = 5000) -> bool:
    """Drop changes that every follower has taken; return whether it did. The newest stays: its number goes on."""
    if not followers:
        return False
    places = [cursor(store, name) or 0 for name in followers]
    with store.write() as connection:
        gone = connection.execute(
            "DELETE FROM touched WHERE seq IN (SELECT seq FROM touched WHERE seq <= ?"
            " AND seq < (SELECT max(seq) FROM touched) ORDER BY seq LIMIT ?)",
            (min(places), at_once),
        ).rowcount
    return gone > 0
