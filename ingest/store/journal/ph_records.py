"""The stored calibrations of each probe, as records of pH probes."""

from __future__ import annotations

__all__ = ["ph_records"]

import sqlite3
from collections import defaultdict

from ingest.journal.kinds.calibration import CalibrationBody
from ingest.journal.ph_record import PhCalibrated, PhRecord
from ingest.store.journal.entry_rows import entry_of, unstruck


def ph_records(connection: sqlite3.Connection) -> dict[str, PhRecord]:
    """Read the calibrations of every pH probe that has any, by the probe's present id; struck entries do not count."""
    called = {str(row[0]) for row in connection.execute("SELECT DISTINCT probe FROM series WHERE quantity = 'pH'")}
    former: dict[str, list[tuple[int, str]]] = {}
    for name, until_ms, now in connection.execute(
        "SELECT former_name.probe, until_ms, series.probe FROM former_name JOIN series ON series.id = series"
        " WHERE quantity = 'pH' AND former_name.probe <> series.probe ORDER BY until_ms"
    ):
        former.setdefault(name, []).append((until_ms, now))
    found: defaultdict[str, list[PhCalibrated]] = defaultdict(list)
    if called:
        for entry in map(entry_of, connection.execute(unstruck("kind = 'calibration'"))):
            if isinstance(entry.body, CalibrationBody):
                probe = entry.body.probe
                later = (now for until_ms, now in former.get(probe, ()) if until_ms > entry.written_ms)
                found[next(later, probe)].append(PhCalibrated.of(entry.at_ms, entry.body))
    return {probe: PhRecord(calibrated) for probe, calibrated in found.items() if probe in called}
