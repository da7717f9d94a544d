"""Counts of the samples that could not be read."""

from __future__ import annotations

__all__ = ["MOST_REJECT_ROWS", "Reject", "add_rejects", "rejects"]

import sqlite3
from collections.abc import Iterable
from typing import NamedTuple

from ingest.store.connection import Store

# Addresses come from the wire; without a bound a babbling device could fill the table.
MOST_REJECT_ROWS = 500


class Reject(NamedTuple):
    """Samples that could not become readings, and how many times. probe is "" where no probe takes the address."""

    source: str
    address: str
    probe: str
    reason: str
    times: int
    first_ms: int
    last_ms: int
    example: str


def add_rejects(connection: sqlite3.Connection, counted: Iterable[Reject]) -> None:
    """Add counts to what is stored; call inside a transaction. New addresses past a bound are counted as "others"."""
    rows = connection.execute("SELECT count(*) FROM reject").fetchone()[0]
    for reject in counted:
        row = reject
        known = connection.execute(
            "SELECT 1 FROM reject WHERE source = ? AND address = ? AND probe = ? AND reason = ?", row[:4]
        ).fetchone()
        if known is None:
            if rows >= MOST_REJECT_ROWS:
                row = row._replace(address="others")
            else:
                rows += 1
        connection.execute(
            "INSERT INTO reject (source, address, probe, reason, count, first_ms, last_ms, example)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (source, address, probe, reason) DO UPDATE SET"
            " count = count + excluded.count, last_ms = excluded.last_ms, example = excluded.example",
            row,
        )


def rejects(store: Store) -> list[Reject]:
    """Read what was rejected and why, the most recent first."""
    rows = store.connection.execute(
        "SELECT source, address, probe, reason, count, first_ms, last_ms, example FROM reject ORDER BY last_ms DESC"
    )
    return [Reject(*row) for row in rows]
