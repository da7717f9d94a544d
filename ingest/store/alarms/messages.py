"""The outbox: messages wait here, on disk, from the turn that causes them until a channel has taken them."""

from __future__ import annotations

__all__ = [
    "MessageRow",
    "NewMessage",
    "add_message",
    "cancel_waiting",
    "count_waiting",
    "due_messages",
    "mark_failed",
    "mark_gave_up",
    "mark_sent",
    "recent_messages",
    "thread_of",
    "untried_raise",
]

import sqlite3
from typing import NamedTuple

from ingest.store.connection import Store


class NewMessage(NamedTuple):
    """One message to one recipient.

    message_id: RFC 5322 Message-ID, the same on every try; thread_id: the Message-ID that it follows up, or None;
    occasion: 'raised', 'returned', ...; not_before_ms: the earliest time of sending.
    """

    message_id: str
    thread_id: str | None
    occurrence: str | None
    occasion: str
    channel: str
    recipient: str
    subject: str
    body: str
    created_ms: int
    not_before_ms: int


class MessageRow(NamedTuple):
    """A message of the outbox. state: waiting, sent, gave up, cancelled; closed_ms: when its occurrence closed."""

    id: int
    message_id: str
    thread_id: str | None
    occurrence: str | None
    occasion: str
    channel: str
    recipient: str
    subject: str
    body: str
    created_ms: int
    not_before_ms: int
    state: str
    attempts: int
    next_try_ms: int
    last_error: str | None
    ended_ms: int | None
    closed_ms: int | None


# The longest wait between two tries, with its jitter, and a little.
LONGEST_TRY_MS = 20 * 60 * 1000

_COLUMNS = (
    "SELECT message.id, message_id, thread_id, message.occurrence, occasion, channel, recipient, subject, body,"
    " created_ms, not_before_ms, state, attempts, next_try_ms, last_error, ended_ms,"
    " (SELECT max(at_ms) FROM transition WHERE transition.occurrence = message.occurrence"
    "  AND to_state = 'normal') FROM message"
)


def add_message(connection: sqlite3.Connection, message: NewMessage) -> int:
    """Put a message into the outbox; call inside the transaction of what causes it. Returns its id."""
    cursor = connection.execute(
        "INSERT INTO message (message_id, thread_id, occurrence, occasion, channel, recipient, subject, body,"
        " created_ms, not_before_ms, next_try_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (*message, message.not_before_ms),
    )
    return int(cursor.lastrowid or 0)


def due_messages(store: Store, now_ms: int, limit: int = 50) -> list[MessageRow]:
    """Read the messages whose time of sending has come, the longest waiting first.

    A clock that was set back must not hold a message up: what was free to go when it was written goes, and a next try
    that is farther off than the longest wait between tries has come.
    """
    rows = store.connection.execute(
        f"{_COLUMNS} WHERE state = 'waiting' AND (next_try_ms <= ? OR (attempts = 0 AND not_before_ms <= created_ms)"
        " OR (attempts > 0 AND next_try_ms > ?)) ORDER BY next_try_ms, message.id LIMIT ?",
        (now_ms, now_ms + LONGEST_TRY_MS, limit),
    )
    return [MessageRow(*row) for row in rows]


def recent_messages(store: Store, limit: int = 20) -> list[MessageRow]:
    """Read the newest messages, whatever became of them, newest first."""
    rows = store.connection.execute(f"{_COLUMNS} ORDER BY message.id DESC LIMIT ?", (limit,))
    return [MessageRow(*row) for row in rows]


def untried_raise(connection: sqlite3.Connection, occurrence: str, recipient: str) -> MessageRow | None:
    """Read the message that raised an occurrence, if it still waits for its first try."""
    row = connection.execute(
        f"{_COLUMNS} WHERE message.occurrence = ? AND recipient = ? AND occasion = 'raised' AND state = 'waiting'"
        " AND attempts = 0 ORDER BY message.id LIMIT 1",
        (occurrence, recipient),
    ).fetchone()
    return MessageRow(*row) if row else None


def thread_of(connection: sqlite3.Connection, occurrence: str, recipient: str) -> tuple[str, str] | None:
    """Read (Message-ID, subject) of what began an occurrence's thread for a recipient, None if that never went out."""
    row = connection.execute(
        "SELECT message_id, subject FROM message WHERE occurrence = ? AND recipient = ?"
        " AND state IN ('sent', 'waiting') ORDER BY id LIMIT 1",
        (occurrence, recipient),
    ).fetchone()
    return (row[0], row[1]) if row else None


def cancel_waiting(connection: sqlite3.Connection, message: int, now_ms: int, reason: str) -> None:
    """Take back a message that was not sent yet."""
    connection.execute(
        "UPDATE message SET state = 'cancelled', ended_ms = ?, last_error = ? WHERE id = ? AND state = 'waiting'",
        (now_ms, reason, message),
    )


def mark_sent(store: Store, message: int, at_ms: int) -> None:
    """Note that a channel has taken the message."""
    with store.write() as connection:
        connection.execute(
            "UPDATE message SET state = 'sent', ended_ms = ?, attempts = attempts + 1 WHERE id = ?", (at_ms, message)
        )


def mark_failed(store: Store, message: int, error: str, next_try_ms: int) -> None:
    """Note that a try failed; the next one is at next_try_ms."""
    with store.write() as connection:
        connection.execute(
            "UPDATE message SET attempts = attempts + 1, last_error = ?, next_try_ms = ? WHERE id = ?",
            (error, next_try_ms, message),
        )


def mark_gave_up(store: Store, message: int, at_ms: int, reason: str) -> None:
    """Note that there are no further tries."""
    with store.write() as connection:
        connection.execute(
            "UPDATE message SET state = 'gave up', ended_ms = ?, attempts = attempts + 1, last_error = ? WHERE id = ?",
            (at_ms, reason, message),
        )


def count_waiting(store: Store) -> int:
    """Count the messages that wait to be sent."""
    return int(store.connection.execute("SELECT count(*) FROM message WHERE state = 'waiting'").fetchone()[0])
