"""Test messages with a code, and whether the person who got one has said it."""

from __future__ import annotations

__all__ = ["Ring", "confirm_ring", "put_ring", "rings"]

import sqlite3
from typing import NamedTuple

from ingest.store.connection import Store


class Ring(NamedTuple):
    """A test message. recipient: as the outbox calls them; message: its id in the outbox; state: what became of that;
    error: why it did not go out, "" where it did or was not tried; confirmed_ms: when the code was said, UTC ms.
    """

    code: str
    recipient: str
    message: int
    written_ms: int
    state: str = "waiting"
    error: str = ""
    confirmed_ms: int | None = None


def put_ring(connection: sqlite3.Connection, code: str, recipient: str, message: int, now_ms: int) -> None:
    """Keep a test message in place of an earlier one to the same recipient; inside the transaction that adds it."""
    connection.execute("DELETE FROM ring WHERE recipient = ?", (recipient,))
    connection.execute(
        "INSERT INTO ring (code, recipient, message, written_ms) VALUES (?, ?, ?, ?)",
        (code, recipient, message, now_ms),
    )


def rings(store: Store) -> list[Ring]:
    """Read the last test message to each recipient, with what became of it, in the order of writing."""
    rows = store.connection.execute(
        "SELECT ring.code, ring.recipient, ring.message, ring.written_ms, coalesce(message.state, 'gave up'),"
        " coalesce(message.last_error, ''), ring.confirmed_ms FROM ring LEFT JOIN message ON message.id = ring.message"
        " ORDER BY ring.message"
    )
    return [Ring(*row) for row in rows]


def confirm_ring(store: Store, code: str, now_ms: int) -> Ring | None:
    """Note that the code of a test message was said, and give that; None where no test message has this code."""
    code = code.strip().lower()
    with store.write() as connection:
        connection.execute("UPDATE ring SET confirmed_ms = coalesce(confirmed_ms, ?) WHERE code = ?", (now_ms, code))
    return next((ring for ring in rings(store) if ring.code == code), None)
