"""What people measured of a cylinder, by the journal."""

from __future__ import annotations

__all__ = ["written_measurements"]

from ingest.cellar import Cylinder
from ingest.errors import StoreError
from ingest.journal.kinds.measurement import MeasurementBody
from ingest.store import Store
from ingest.store.journal.entry_rows import entry_of, unstruck


def written_measurements(
    store: Store, cylinder: Cylinder, now_ms: int, from_ms: int = -1
) -> list[tuple[int, MeasurementBody]]:
    """List measurements of a cylinder with their times, after from_ms up to now_ms (UTC ms), oldest first.

    Those under the name that it had before count too. Call inside a transaction.
    """
    names = [cylinder.id, *([] if cylinder.was is None else [cylinder.was])]
    marks = ", ".join("?" * len(names))
    there = f"entry.id IN (SELECT entry FROM entry_place WHERE place IN ({marks}))"  # noqa: S608  question marks
    query = unstruck(f"kind = 'measurement' AND place IN ({marks}) AND at_ms > ? AND at_ms <= ? AND {there}")
    rows = store.connection.execute(query, (*names, from_ms, now_ms, *names))
    measured = []
    for row in rows:
        try:
            entry = entry_of(row)
        except StoreError:
            continue  # `leeside check --store` and the ledger report it
        if isinstance(entry.body, MeasurementBody):
            measured.append((entry.at_ms, entry.body))
    return measured
