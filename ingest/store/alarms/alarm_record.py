"""Where each limit stands, and the alarm record: every change of state, kept for ever."""

from __future__ import annotations

__all__ = [
    "AlarmRow",
    "OccurrenceRow",
    "TransitionRow",
    "add_transition",
    "alarm_rows",
    "key_of_occurrence",
    "last_raised_ms",
    "last_steps",
    "newest_transitions",
    "occurrences",
    "put_alarm",
    "remove_alarm",
    "transitions",
]

import json
import sqlite3
from collections.abc import Collection
from typing import NamedTuple

from ingest.store.connection import Store


class AlarmRow(NamedTuple):
    """One limit: its state, the open occurrence's short id if any, and the entry (JSON) a restart goes on from."""

    key: str
    state: str
    occurrence: str | None
    entry: str
    changed_ms: int


class TransitionRow(NamedTuple):
    """One change of a limit's state, as it is kept. finding: what the judgement behind it said, or ""."""

    at_ms: int
    key: str
    occurrence: str | None
    event: str
    from_state: str
    to_state: str
    value: float | None
    who: str
    note: str
    finding: str = ""


def alarm_rows(store: Store) -> list[AlarmRow]:
    """Read every limit that ever had a state."""
    rows = store.connection.execute("SELECT key, state, occurrence, entry, changed_ms FROM alarm ORDER BY key")
    return [AlarmRow(*row) for row in rows]


def put_alarm(connection: sqlite3.Connection, row: AlarmRow) -> None:
    """Keep where a limit stands; call inside the turn's transaction."""
    connection.execute(
        "INSERT INTO alarm (key, state, occurrence, entry, changed_ms) VALUES (?, ?, ?, ?, ?) ON CONFLICT (key)"
        " DO UPDATE SET state = excluded.state, occurrence = excluded.occurrence, entry = excluded.entry,"
        " changed_ms = excluded.changed_ms",
        row,
    )


def remove_alarm(connection: sqlite3.Connection, key: str) -> None:
    """Forget a limit that left the cellar file; its transitions stay."""
    connection.execute("DELETE FROM alarm WHERE key = ?", (key,))


def add_transition(connection: sqlite3.Connection, row: TransitionRow) -> int:
    """Add to the alarm record; call inside the turn's transaction. Returns the row's id."""
    cursor = connection.execute(
        "INSERT INTO transition (at_ms, key, occurrence, event, from_state, to_state, value, who, note, finding)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        row,
    )
    return int(cursor.lastrowid or 0)


def transitions(store: Store, since_ms: int = 0, occurrence: str | None = None) -> list[TransitionRow]:
    """Read the alarm record from since_ms on, of one occurrence if asked, oldest first."""
    rows = store.connection.execute(
        "SELECT at_ms, key, occurrence, event, from_state, to_state, value, who, note, finding FROM transition"
        " WHERE at_ms >= ? AND (? IS NULL OR occurrence = ?) ORDER BY id",
        (since_ms, occurrence, occurrence),
    )
    return [TransitionRow(*row) for row in rows]


def newest_transitions(
    store: Store, most: int, *, before: int | None = None, under: str = ""
) -> list[tuple[int, TransitionRow]]:
    """Read the alarm record from its end: each step with its number, newest first.

    before: only steps with a smaller number; under: only of the limit with this key, or of those at this place.
    """
    rows = store.connection.execute(
        "SELECT id, at_ms, key, occurrence, event, from_state, to_state, value, who, note, finding FROM transition"
        " WHERE (? IS NULL OR id < ?) AND (? = '' OR key = ? OR substr(key, 1, length(?) + 1) = ? || '/')"
        " ORDER BY id DESC LIMIT ?",
        (before, before, under, under, under, under, most),
    )
    return [(row[0], TransitionRow(*row[1:])) for row in rows]


class OccurrenceRow(NamedTuple):
    """One alarm: began_ms: when it opened; ended_ms: when its condition ended, None while it has not (UTC ms); value:
    when it opened.
    """

    occurrence: str
    key: str
    began_ms: int
    ended_ms: int | None
    value: float | None


def occurrences(store: Store, keys: Collection[str], from_ms: int, to_ms: int) -> list[OccurrenceRow]:
    """Read the alarms of these limits whose condition lasted at any time from from_ms on and before to_ms, by begin."""
    rows = store.connection.execute(
        "SELECT each.occurrence, each.key, began, ended, value FROM (SELECT occurrence, key, min(id) AS first,"
        " min(at_ms) AS began, min(CASE WHEN event IN ('condition ended', 'limit removed') THEN at_ms END) AS ended"
        " FROM transition WHERE occurrence IS NOT NULL AND key IN (SELECT value FROM json_each(?))"
        " GROUP BY occurrence, key HAVING began < ? AND (ended IS NULL OR ended >= ?)) AS each"
        " JOIN transition ON transition.id = each.first ORDER BY began, each.first",
        (json.dumps([*keys]), to_ms, from_ms),
    )
    return [OccurrenceRow(*row) for row in rows]


def key_of_occurrence(store: Store, occurrence: str) -> str | None:
    """Read the key of the limit that an occurrence, open or closed, was of; None for one that never was."""
    row = store.connection.execute("SELECT key FROM transition WHERE occurrence = ? LIMIT 1", (occurrence,)).fetchone()
    return None if row is None else str(row[0])


def last_steps(store: Store) -> dict[str, TransitionRow]:
    """Read the newest change of state of each limit that ever had one."""
    rows = store.connection.execute(
        "SELECT at_ms, key, occurrence, event, from_state, to_state, value, who, note FROM transition"
        " WHERE id IN (SELECT max(id) FROM transition GROUP BY key)"
    )
    return {row[1]: TransitionRow(*row) for row in rows}


def last_raised_ms(store: Store) -> dict[str, int]:
    """Read when each limit last raised an alarm, UTC ms; a limit that never did is left out."""
    rows = store.connection.execute(
        "SELECT key, max(at_ms) FROM transition WHERE to_state = 'unacknowledged' GROUP BY key"
    )
    return dict(rows.fetchall())
