"""The pulse of each daemon as one row, replaced every 15 seconds."""

from __future__ import annotations

__all__ = ["pulses", "write_pulse"]

import json
import os
import sqlite3
from typing import Final

from ingest.machine_clock import EvenTime
from ingest.pulse import AlertsPulse, Beat, Body, IngestPulse, Pulse, Pulses
from ingest.store.connection import Store

# Where the stored JSON holds the beat, beside the keys of the body.
_BEAT: Final = "beat"


def write_pulse(
    connection: sqlite3.Connection,
    body: IngestPulse | AlertsPulse,
    now_ms: int,
    started_ms: int,
    even: EvenTime | None = None,
) -> None:
    """Replace the daemon's pulse; call inside a transaction. even: now by the even clock, None where it is unknown."""
    role = "ingest" if isinstance(body, IngestPulse) else "alerts"
    before = connection.execute("SELECT body FROM pulse WHERE role = ?", (role,)).fetchone()
    beat: dict[str, object] = {"counter": 1 + (0 if before is None else _beat(json.loads(before[0])).counter)}
    if even is not None and even.boot:
        beat |= {"boot": even.boot, "mono": round(even.mono, 3)}
    document = {_BEAT: beat, **body.model_dump(mode="json", exclude_unset=True)}
    connection.execute(
        "INSERT INTO pulse (role, at_ms, pid, started_ms, body) VALUES (?, ?, ?, ?, ?) ON CONFLICT (role) DO UPDATE SET"
        " at_ms = excluded.at_ms, pid = excluded.pid, started_ms = excluded.started_ms, body = excluded.body",
        (role, now_ms, os.getpid(), started_ms, json.dumps(document)),
    )


def pulses(store: Store) -> Pulses:
    """Read the newest pulse of each daemon."""
    rows = {row[0]: row[1:] for row in store.connection.execute("SELECT role, at_ms, pid, started_ms, body FROM pulse")}
    return Pulses(_pulse(rows.get("ingest"), IngestPulse), _pulse(rows.get("alerts"), AlertsPulse))


def _pulse(row: tuple[int, int, int, str] | None, form: type[Body]) -> Pulse[Body] | None:
    if row is None:
        return None
    at_ms, pid, started_ms, text = row
    document = json.loads(text)
    beat = _beat(document)
    return Pulse(at_ms, pid, started_ms, form.model_validate(document), beat)


def _beat(document: dict[str, object]) -> Beat:
    """Take the beat out of a stored pulse; an older version wrote none."""
    beat = document.pop(_BEAT, None)
    if not isinstance(beat, dict) or not isinstance(beat.get("counter"), int):
        return Beat()
    boot, mono = beat.get("boot"), beat.get("mono")
    even = EvenTime(boot, mono) if isinstance(boot, str) and boot and isinstance(mono, float | int) else None
    return Beat(beat["counter"], even)
