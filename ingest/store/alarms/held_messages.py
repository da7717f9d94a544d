"""Messages that wait to go out together, and whether a person is in a flood of alarms.

Both are read from the outbox and the alarm record, so a restart changes neither.
"""

from __future__ import annotations

__all__ = [
    "FLOOD",
    "FLOOD_OVER",
    "alarms_since",
    "flood_since",
    "held_due",
    "held_for",
    "held_of_limit",
    "people_in_flood",
    "replace_held",
]

import sqlite3
from collections.abc import Sequence
from typing import Final

from ingest.store.alarms.messages import COLUMNS, MessageRow, NewMessage, add_message, message_rows

# The occasion of a flood's summaries, and of the message that it is over.
FLOOD: Final = "flood"
FLOOD_OVER: Final = "flood over"
_IS_OF_LIMIT: Final = (
    "EXISTS (SELECT 1 FROM transition WHERE transition.occurrence = message.occurrence AND transition.key = ?)"
)
# Far more messages than a person can read in the time over which alarms are counted.
_MOST_COUNTED: Final = 500


def held_due(connection: sqlite3.Connection, now_ms: int) -> list[MessageRow]:
    """Read the messages that were held back until now or earlier and were not tried yet, oldest first."""
    rows = connection.execute(
        f"{COLUMNS} WHERE state = 'waiting' AND attempts = 0 AND hold <> '' AND next_try_ms <= ? ORDER BY id", (now_ms,)
    )
    return message_rows(connection, rows.fetchall())


def held_for(connection: sqlite3.Connection, hold: str, recipient: str) -> list[MessageRow]:
    """Read a person's messages that are held back for this reason and were not tried yet, oldest first."""
    rows = connection.execute(
        f"{COLUMNS} WHERE state = 'waiting' AND attempts = 0 AND hold = ? AND recipient = ? ORDER BY id",
        (hold, recipient),
    )
    return message_rows(connection, rows.fetchall())


def held_of_limit(connection: sqlite3.Connection, key: str, recipient: str, since_ms: int) -> list[MessageRow]:
    """Read a person's messages about single occurrences of a limit, written from since_ms (UTC ms) on, that wait for
    waking hours and were not tried yet, oldest first.
    """
    rows = connection.execute(
        f"{COLUMNS} WHERE state = 'waiting' AND attempts = 0 AND hold = 'waking' AND recipient = ? AND created_ms >= ?"
        f" AND {_IS_OF_LIMIT} ORDER BY id",
        (recipient, since_ms, key),
    )
    return message_rows(connection, rows.fetchall())


def replace_held(connection: sqlite3.Connection, held: Sequence[MessageRow], message: NewMessage, now_ms: int) -> int:
    """Put one message into the outbox in place of several that were held back; give its id."""
    connection.executemany(
        "UPDATE message SET state = 'cancelled', ended_ms = ?, last_error = 'sent together with others'"
        " WHERE id = ? AND state = 'waiting'",
        [(now_ms, row.id) for row in held],
    )
    return add_message(connection, message)


def flood_since(connection: sqlite3.Connection, recipient: str) -> int | None:
    """Read since when a person is in a flood of alarms, UTC ms; None if in none."""
    row = connection.execute(
        "SELECT min(created_ms) FROM message WHERE recipient = ? AND occasion IN ('flood', 'flood over') AND id >"
        " (SELECT coalesce(max(id), 0) FROM message WHERE recipient = ? AND occasion = 'flood over')",
        (recipient, recipient),
    ).fetchone()
    return None if row is None or row[0] is None else int(row[0])


def people_in_flood(connection: sqlite3.Connection, recipients: Sequence[str]) -> list[str]:
    """Those of the recipients who are in a flood of alarms."""
    return [recipient for recipient in recipients if flood_since(connection, recipient) is not None]


def alarms_since(connection: sqlite3.Connection, recipient: str, since_ms: int) -> int:
    """Count the alarms that were raised since then and of which a message to the person was written.

    Those whose message waits for waking hours, the digest, the report about a gap or the owner's return are left out.
    """
    rows = connection.execute(
        "SELECT occurrence, created_ms FROM message WHERE recipient = ? AND occurrence NOT NULL"
        " AND hold NOT IN ('waking', 'digest', 'gap', 'away') ORDER BY id DESC LIMIT ?",
        (recipient, _MOST_COUNTED),
    ).fetchall()
    occurrences = {name for names, created_ms in rows if created_ms > since_ms for name in names.split()}
    raised = (
        "SELECT 1 FROM transition WHERE occurrence = ? AND at_ms > ?"
        " AND to_state = 'unacknowledged' AND from_state <> 'unacknowledged' LIMIT 1"
    )
    return sum(connection.execute(raised, (name, since_ms)).fetchone() is not None for name in occurrences)
