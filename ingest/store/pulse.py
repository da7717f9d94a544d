"""A daemon's sign of life, and the counts of samples that could not be read."""

from __future__ import annotations

__all__ = ["PULSE_S", "Pulse", "Reject", "add_rejects", "pulses", "rejects", "write_pulse"]

import json
import os
import sqlite3
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from ingest.store.connection import Store

PULSE_S = 10.0

# Addresses come from the wire; without a bound a babbling device could fill the table.
MOST_REJECT_ROWS = 500


class Pulse(NamedTuple):
    """role: 'ingest' or 'alerts'; at_ms: when it last said it lives; body: counters and liveness."""

    role: str
    at_ms: int
    pid: int
    started_ms: int
    body: dict[str, object]


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


def write_pulse(
    connection: sqlite3.Connection, role: str, now_ms: int, started_ms: int, body: Mapping[str, object]
) -> None:
    """Write the role's one row; call inside a transaction."""
    connection.execute(
        "INSERT INTO pulse (role, at_ms, pid, started_ms, body) VALUES (?, ?, ?, ?, ?) ON CONFLICT (role) DO UPDATE SET"
        " at_ms = excluded.at_ms, pid = excluded.pid, started_ms = excluded.started_ms, body = excluded.body",
        (role, now_ms, os.getpid(), started_ms, json.dumps(body)),
    )


def pulses(store: Store) -> dict[str, Pulse]:
    """The newest pulse of each role."""
    rows = store.connection.execute("SELECT role, at_ms, pid, started_ms, body FROM pulse")
    return {row[0]: Pulse(row[0], row[1], row[2], row[3], json.loads(row[4])) for row in rows}


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
    """What was rejected and why, the most recent first."""
    rows = store.connection.execute(
        "SELECT source, address, probe, reason, count, first_ms, last_ms, example FROM reject ORDER BY last_ms DESC"
    )
    return [Reject(*row) for row in rows]
