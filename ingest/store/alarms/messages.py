"""The outbox: messages wait here, on disk, from the turn that causes them until a channel has taken them."""

from __future__ import annotations

__all__ = [
    "COLUMNS",
    "MessageRow",
    "NewMessage",
    "Undelivered",
    "add_message",
    "begin_try",
    "cancel_other_channels",
    "cancel_other_recipients",
    "cancel_waiting",
    "count_waiting",
    "due_messages",
    "failing_channels",
    "has_message",
    "mark_failed",
    "mark_gave_up",
    "mark_sent",
    "mark_sent_directly",
    "message_rows",
    "recent_messages",
    "thread_of",
    "undelivered",
    "unsent_raise",
    "was_written",
    "withdraw",
]

import json
import sqlite3
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from ingest.store.connection import Store


class NewMessage(NamedTuple):
    """One message to one recipient.

    message_id: RFC 5322 Message-ID, the same on every try; thread_id: the Message-ID that it follows up, or None;
    occurrence: what it is about, several with a space between; occasion: 'raised', 'returned', ...; not_before_ms: the
    earliest time of sending; hold: why it waits until then ('waking', 'digest', 'flood', 'gap'), "" if it does not;
    priority: of the alarm, "" for an all-clear and for what belongs to no alarm.
    """

    message_id: str
    occasion: str
    recipient: str
    subject: str
    body: str
    created_ms: int
    not_before_ms: int
    thread_id: str | None = None
    occurrence: str | None = None
    channel: str = "mail"
    hold: str = ""
    priority: str = ""


class MessageRow(NamedTuple):
    """A message of the outbox. state: waiting, sent, gave up, cancelled; attempts: tries, with one that is under way;
    closed_ms: when the last of its occurrences closed, None while one is open.
    """

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
    hold: str
    priority: str
    state: str
    attempts: int
    next_try_ms: int
    last_error: str | None
    ended_ms: int | None
    closed_ms: int | None


class Undelivered(NamedTuple):
    """What could not be sent so far.

    messages: how many; since_ms: when the oldest was written, UTC ms; attempts, error, channel: its tries, why the last
    one failed, and by which channel it should go out.
    """

    messages: int
    since_ms: int
    attempts: int
    error: str
    channel: str = "mail"


# The longest wait between two tries, with its jitter, and a little.
LONGEST_TRY_MS = 75 * 60 * 1000
# What was given up is shown for as long.
_GIVEN_UP_SHOWN_MS = 24 * 3600 * 1000

COLUMNS = (
    "SELECT id, message_id, thread_id, occurrence, occasion, channel, recipient, subject, body,"
    " created_ms, not_before_ms, hold, priority, state, attempts, next_try_ms, last_error, ended_ms FROM message"
)


def message_rows(connection: sqlite3.Connection, rows: Iterable[tuple[Any, ...]]) -> list[MessageRow]:
    """Make messages of rows of ``COLUMNS``."""
    return [MessageRow._make((*row, _closed_ms(connection, row[3]))) for row in rows]


def _closed_ms(connection: sqlite3.Connection, occurrences: str | None) -> int | None:
    if occurrences is None:
        return None
    closed = [
        connection.execute(
            "SELECT max(at_ms) FROM transition WHERE occurrence = ? AND to_state = 'normal'", (occurrence,)
        ).fetchone()[0]
        for occurrence in occurrences.split()
    ]
    return None if None in closed else max(closed, default=None)


def add_message(connection: sqlite3.Connection, message: NewMessage, sent_ms: int | None = None) -> int:
    """Put a message into the outbox; call inside the transaction of what causes it. Returns its id.

    sent_ms: when it went out already, past the outbox.
    """
    cursor = connection.execute(
        "INSERT INTO message (message_id, occasion, recipient, subject, body, created_ms, not_before_ms, thread_id,"
        " occurrence, channel, hold, priority, next_try_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (*message, message.not_before_ms),
    )
    number = int(cursor.lastrowid or 0)
    if sent_ms is not None:
        connection.execute(
            "UPDATE message SET state = 'sent', ended_ms = ?, attempts = 1 WHERE id = ?", (sent_ms, number)
        )
    return number


def has_message(connection: sqlite3.Connection, message_id: str) -> bool:
    """Whether a message of this Message-ID was ever put into the outbox."""
    row = connection.execute("SELECT 1 FROM message WHERE message_id = ?", (message_id,)).fetchone()
    return row is not None


def was_written(
    connection: sqlite3.Connection,
    occurrence: str,
    recipient: str,
    before_ms: int | None = None,
    *,
    away: bool = True,
) -> bool:
    """Whether a message about an occurrence, alone or with others, was sent to a recipient or waits to be.

    away: whether an absence is under way: one that waits for its end does not count; before_ms: nor one that may
    not go out before then [UTC ms].
    """
    row = connection.execute(
        "SELECT 1 FROM message WHERE recipient = ? AND state IN ('sent', 'waiting')"
        " AND NOT (? AND state = 'waiting' AND hold = 'away')"
        " AND instr(' ' || occurrence || ' ', ' ' || ? || ' ') AND not_before_ms < coalesce(?, not_before_ms + 1)"
        " LIMIT 1",
        (recipient, away, occurrence, before_ms),
    ).fetchone()
    return row is not None


def withdraw(
    connection: sqlite3.Connection, occurrence: str, occasions: Sequence[str], now_ms: int, recipient: str | None = None
) -> None:
    """Take back messages of these occasions about an occurrence that were not tried yet. recipient: None for all."""
    connection.executemany(
        "UPDATE message SET state = 'cancelled', ended_ms = ?, last_error = 'no longer needed' WHERE state = 'waiting'"
        " AND attempts = 0 AND occurrence = ? AND recipient = coalesce(?, recipient) AND occasion = ?",
        [(now_ms, occurrence, recipient, occasion) for occasion in occasions],
    )


def mark_sent_directly(
    connection: sqlite3.Connection, occurrence: str, occasion: str, recipient: str, at_ms: int
) -> None:
    """Note of a message that waits that it went out already, past the outbox."""
    connection.execute(
        "UPDATE message SET state = 'sent', ended_ms = ?, attempts = attempts + 1 WHERE state = 'waiting'"
        " AND occurrence = ? AND occasion = ? AND recipient = ?",
        (at_ms, occurrence, occasion, recipient),
    )


def due_messages(store: Store, now_ms: int, limit: int = 50, channel: str | None = None) -> list[MessageRow]:
    """Read the messages whose time of sending has come, the longest waiting first. channel: None for every channel.

    What follows up an occurrence waits until what was written of it before has gone to the same person, so that no
    all-clear comes before its alarm. A clock that was set back must not hold a message up: what was free to go when it
    was written goes, and a next try that is farther off than the longest wait between tries has come.
    """
    connection = store.connection
    due = connection.execute(
        f"{COLUMNS} WHERE state = 'waiting' AND (next_try_ms <= ? OR (attempts = 0 AND not_before_ms <= created_ms)"
        " OR (attempts > 0 AND next_try_ms > ?)) AND channel = coalesce(?, channel) ORDER BY next_try_ms, id",
        (now_ms, now_ms + LONGEST_TRY_MS, channel),
    ).fetchall()
    if not due:
        return []
    held = _held_back(connection)
    return message_rows(connection, [row for row in due if row[0] not in held][:limit])


def _held_back(connection: sqlite3.Connection) -> set[int]:
    held = set()
    written_of: set[tuple[str, str]] = set()
    waiting = (
        "SELECT id, recipient, occurrence FROM message WHERE state = 'waiting' AND occurrence NOT NULL ORDER BY id"
    )
    for message, recipient, occurrences in connection.execute(waiting):
        subjects = {(recipient, occurrence) for occurrence in occurrences.split()}
        if not written_of.isdisjoint(subjects):
            held.add(message)
        written_of |= subjects
    return held


def recent_messages(store: Store, limit: int = 20) -> list[MessageRow]:
    """Read the newest messages, whatever became of them, newest first."""
    connection = store.connection
    return message_rows(connection, connection.execute(f"{COLUMNS} ORDER BY id DESC LIMIT ?", (limit,)).fetchall())


def unsent_raise(connection: sqlite3.Connection, occurrence: str, recipient: str) -> MessageRow | None:
    """Read the message that raised an occurrence last, or that it chatters, if it waits for its first try or was given
    up.
    """
    rows = connection.execute(
        f"{COLUMNS} WHERE occurrence = ? AND recipient = ? AND occasion IN ('raised', 'chattering')"
        " ORDER BY id DESC LIMIT 1",
        (occurrence, recipient),
    ).fetchall()
    raised = next(iter(message_rows(connection, rows)), None)
    if raised is None:
        return None
    return raised if raised.state == "gave up" or (raised.state == "waiting" and not raised.attempts) else None


def thread_of(connection: sqlite3.Connection, occurrence: str, recipient: str) -> tuple[str, str] | None:
    """Read (Message-ID, subject) of what began an occurrence's thread for a recipient, None if that never went out."""
    row = connection.execute(
        "SELECT message_id, subject FROM message WHERE occurrence = ? AND recipient = ?"
        " AND state IN ('sent', 'waiting')"
        " AND occasion NOT IN ('flood', 'flood over', 'digest', 'report') ORDER BY id LIMIT 1",
        (occurrence, recipient),
    ).fetchone()
    return (row[0], row[1]) if row else None


def cancel_waiting(connection: sqlite3.Connection, message: int, now_ms: int, reason: str) -> None:
    """Take back a message that was not sent yet."""
    connection.execute(
        "UPDATE message SET state = 'cancelled', ended_ms = ?, last_error = ? WHERE id = ? AND state = 'waiting'",
        (now_ms, reason, message),
    )


def cancel_other_channels(store: Store, channels: Sequence[str], now_ms: int) -> int:
    """Take back what waits for channels that the cellar file no longer has; how many messages that were."""
    marks = json.dumps(list(channels))
    with store.write() as connection:
        cursor = connection.execute(
            "UPDATE message SET state = 'cancelled', ended_ms = ?, last_error = 'its channel has left the cellar file'"
            " WHERE state = 'waiting' AND channel NOT IN (SELECT value FROM json_each(?))",
            (now_ms, marks),
        )
    return cursor.rowcount


def cancel_other_recipients(store: Store, channel: str, recipients: Sequence[str], now_ms: int) -> int:
    """Take back what waits on a channel for people whom the cellar file no longer has; how many messages that were."""
    with store.write() as connection:
        cursor = connection.execute(
            "UPDATE message SET state = 'cancelled', ended_ms = ?, last_error = 'its person has left the cellar file'"
            " WHERE state = 'waiting' AND channel = ? AND recipient NOT IN (SELECT value FROM json_each(?))",
            (now_ms, channel, json.dumps(list(recipients))),
        )
    return cursor.rowcount


def begin_try(store: Store, message: int) -> bool:
    """Note that a try begins, so that nobody takes the message back meanwhile; False if that has happened already."""
    with store.write() as connection:
        cursor = connection.execute(
            "UPDATE message SET attempts = attempts + 1 WHERE id = ? AND state = 'waiting'", (message,)
        )
    return cursor.rowcount > 0


def mark_sent(store: Store, message: int, at_ms: int) -> None:
    """Note that a channel has taken the message."""
    with store.write() as connection:
        connection.execute("UPDATE message SET state = 'sent', ended_ms = ? WHERE id = ?", (at_ms, message))


def mark_failed(store: Store, message: int, error: str, next_try_ms: int) -> None:
    """Note that a try failed; the next one is at next_try_ms."""
    with store.write() as connection:
        connection.execute(
            "UPDATE message SET last_error = ?, next_try_ms = ? WHERE id = ?", (error, next_try_ms, message)
        )


def mark_gave_up(store: Store, message: int, at_ms: int, reason: str) -> None:
    """Note that there are no further tries; what only follows the message up is not sent either."""
    with store.write() as connection:
        connection.execute(
            "UPDATE message SET state = 'gave up', ended_ms = ?, last_error = ? WHERE id = ?", (at_ms, reason, message)
        )
        connection.execute(
            "UPDATE message SET state = 'cancelled', ended_ms = ?, last_error = 'what it follows up never went out'"
            " WHERE state = 'waiting' AND (recipient, occurrence) ="
            " (SELECT recipient, occurrence FROM message WHERE id = ?)",
            (at_ms, message),
        )


def count_waiting(store: Store) -> int:
    """Count the messages that wait to be sent."""
    return int(store.connection.execute("SELECT count(*) FROM message WHERE state = 'waiting'").fetchone()[0])


def failing_channels(store: Store) -> list[str]:
    """List the channels that have not taken a message, which waits for its next try."""
    rows = store.connection.execute(
        "SELECT DISTINCT channel FROM message WHERE state = 'waiting' AND last_error NOT NULL"
    )
    return [channel for (channel,) in rows]


def undelivered(store: Store, now_ms: int) -> Undelivered | None:
    """Sum up the messages that were refused, or could not be handed over, None if there are none.

    now_ms: UTC ms; what was given up more than a day before is left out.
    """
    rows = store.connection.execute(
        "SELECT created_ms, attempts, last_error, channel FROM message WHERE last_error NOT NULL"
        " AND (state = 'waiting' OR (state = 'gave up' AND ended_ms > ?)) ORDER BY id",
        (now_ms - _GIVEN_UP_SHOWN_MS,),
    ).fetchall()
    return Undelivered(len(rows), *rows[0]) if rows else None
