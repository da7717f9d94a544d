"""What people asked for about alarms: appended by command and page, applied by the next turn."""

from __future__ import annotations

__all__ = ["append_event", "append_events", "mark_applied", "outcome_of", "waiting_events", "was_asked"]

import json
import sqlite3
from collections.abc import Sequence
from typing import Final

from ingest.errors import TextRefused
from ingest.operator_event import OperatorEvent, OperatorEventKind, OperatorRequest
from ingest.plain_text import line_problem
from ingest.store.connection import Store

# In characters.
_LONGEST: Final = {"alarm": 200, "who": 200, "note": 5000}


def append_event(store: Store, kind: str, target: str, who: str, note: str, now_ms: int) -> int:
    """Write one event down and return its id; as ``append_events``."""
    return append_events(store, [OperatorRequest(kind, target, note)], who, now_ms)[0]


def append_events(store: Store, requests: Sequence[OperatorRequest], who: str, now_ms: int) -> list[int]:
    """Write events down, all or none, and return their ids; only a turn changes an alarm.

    Raises TextRefused for a text that is too long, or that a terminal or a mail would obey.
    """
    for request in requests:
        for name, text in (("alarm", request.target), ("who", who), ("note", request.note)):
            problem = line_problem(text, _LONGEST[name])
            if problem:
                raise TextRefused(f"{name}: {problem}. Nothing was written")
    with store.write() as connection:
        return [
            int(
                connection.execute(
                    "INSERT INTO operator_event (written_ms, kind, target, who, note) VALUES (?, ?, ?, ?, ?)",
                    (now_ms, str(request.kind), request.target, who, _stored_note(request)),
                ).lastrowid
                or 0
            )
            for request in requests
        ]


def waiting_events(store: Store) -> list[OperatorEvent]:
    """Read the events that no turn has applied yet, oldest first."""
    rows = store.connection.execute(
        "SELECT id, written_ms, kind, target, who, note FROM operator_event WHERE applied_ms IS NULL ORDER BY id"
    )
    return [_event(OperatorEvent(*row)) for row in rows]


def mark_applied(connection: sqlite3.Connection, event: int, outcome: str, now_ms: int) -> None:
    """Record what came of an event; call inside the turn's transaction."""
    connection.execute("UPDATE operator_event SET applied_ms = ?, outcome = ? WHERE id = ?", (now_ms, outcome, event))


def was_asked(store: Store, kind: str, target: str, note: str) -> bool:
    """Whether somebody has asked for this with this note before."""
    row = store.connection.execute(
        "SELECT 1 FROM operator_event WHERE kind = ? AND target = ? AND note = ? LIMIT 1", (str(kind), target, note)
    ).fetchone()
    return row is not None


def outcome_of(store: Store, event: int) -> str | None:
    """Read what came of an event, None while it waits."""
    row = store.connection.execute("SELECT outcome FROM operator_event WHERE id = ?", (event,)).fetchone()
    return row[0] if row else None


def _stored_note(request: OperatorRequest) -> str:
    """The note; of a shelving as JSON with its span beside it, so that the table needs no column for one kind."""
    if request.kind != OperatorEventKind.SHELVE:
        return request.note
    return json.dumps({"why": request.note, "for_s": request.span_s}, ensure_ascii=False)


def _event(event: OperatorEvent) -> OperatorEvent:
    if event.kind != OperatorEventKind.SHELVE:
        return event
    try:
        stored = json.loads(event.note)
        return event._replace(note=str(stored["why"]), span_s=float(stored["for_s"]))
    except (ValueError, KeyError, TypeError):
        return event  # without a span the turn says what is missing
