"""The pulse of each daemon as one row, replaced every ten seconds."""

from __future__ import annotations

__all__ = ["pulses", "write_pulse"]

import json
import os
import sqlite3

from ingest.pulse import AlertsPulse, Body, IngestPulse, Pulse, Pulses
from ingest.store.connection import Store


def write_pulse(connection: sqlite3.Connection, body: IngestPulse | AlertsPulse, now_ms: int, started_ms: int) -> None:
    """Replace the daemon's pulse; call inside a transaction."""
    role = "ingest" if isinstance(body, IngestPulse) else "alerts"
    connection.execute(
        "INSERT INTO pulse (role, at_ms, pid, started_ms, body) VALUES (?, ?, ?, ?, ?) ON CONFLICT (role) DO UPDATE SET"
        " at_ms = excluded.at_ms, pid = excluded.pid, started_ms = excluded.started_ms, body = excluded.body",
        (role, now_ms, os.getpid(), started_ms, json.dumps(body.model_dump(mode="json", exclude_unset=True))),
    )


def pulses(store: Store) -> Pulses:
    """Read the newest pulse of each daemon."""
    rows = {row[0]: row[1:] for row in store.connection.execute("SELECT role, at_ms, pid, started_ms, body FROM pulse")}
    return Pulses(_pulse(rows.get("ingest"), IngestPulse), _pulse(rows.get("alerts"), AlertsPulse))


def _pulse(row: tuple[int, int, int, str] | None, form: type[Body]) -> Pulse[Body] | None:
    if row is None:
        return None
    at_ms, pid, started_ms, text = row
    return Pulse(at_ms, pid, started_ms, form.model_validate(json.loads(text)))
