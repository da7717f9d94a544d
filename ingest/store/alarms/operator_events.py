"""What people asked for about alarms: appended by command and page, applied by the next turn."""

from __future__ import annotations

__all__ = ["append_event", "mark_applied", "outcome_of", "waiting_events"]

import sqlite3
from typing import Final

from ingest.errors import TextRefused
from ingest.operator_event import OperatorEvent
from ingest.plain_text import line_problem
from ingest.store.connection import Store

# In characters.
_LONGEST: Final = {"alarm": 200, "who": 200, "note": 5000}


def append_event(store: Store, kind: str, target: str, who: str, note: str, now_ms: int) -> int:
    """Write an event down and return its id; only a turn changes an alarm.

    Raises TextRefused for a text that is too long, or that a terminal or a mail would obey.
    """
    for name, text in (("alarm", target), ("who", who), ("note", note)):
        problem = line_problem(text, _LONGEST[name])
        if problem:
            raise TextRefused(f"{name}: {problem}. Nothing was written")
    with store.write() as connection:
        cursor = connection.execute(
            "INSERT INTO operator_event (written_ms, kind, target, who, note) VALUES (?, ?, ?, ?, ?)",
            (now_ms, kind, target, who, note),
        )
    return int(cursor.lastrowid or 0)


def waiting_events(store: Store) -> list[OperatorEvent]:
    """Read the events that no turn has applied yet, oldest first."""
    rows = store.connection.execute(
        "SELECT id, written_ms, kind, target, who, note FROM operator_event WHERE applied_ms IS NULL ORDER BY id"
    )
    return [OperatorEvent(*row) for row in rows]


def mark_applied(connection: sqlite3.Connection, event: int, outcome: str, now_ms: int) -> None:
    """Record what came of an event; call inside the turn's transaction."""
    connection.execute("UPDATE operator_event SET applied_ms = ?, outcome = ? WHERE id = ?", (now_ms, outcome, event))


def outcome_of(store: Store, event: int) -> str | None:
    """Read what came of an event, None while it waits."""
    row = store.connection.execute("SELECT outcome FROM operator_event WHERE id = ?", (event,)).fetchone()
    return row[0] if row else None
