"""What places and probes that entries name are called now."""

from __future__ import annotations

__all__ = ["Renames", "called_as_now"]

import sqlite3
from collections.abc import Iterable
from dataclasses import replace

from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.calibration import CalibrationBody
from ingest.journal.ledger import Ledger
from ingest.store.connection import Store
from ingest.store.journal.stored_ledger import equipment_of


class Renames:
    """Gives entries the names that vessels and probes have now; made inside a transaction."""

    def __init__(self, connection: sqlite3.Connection, equipment: Equipment) -> None:
        self._ledger = Ledger((), equipment)
        # Former name of a probe -> (until when, what it is called now), oldest first.
        self._probes: dict[str, list[tuple[int, str]]] = {}
        for former, until_ms, name in connection.execute(
            "SELECT former_name.probe, until_ms, series.probe FROM former_name JOIN series ON series.id = series"
            " WHERE former_name.probe <> series.probe ORDER BY until_ms"
        ):
            self._probes.setdefault(former, []).append((until_ms, name))

    def __call__(self, entry: Entry) -> Entry:
        """The entry with present names."""
        named = self._ledger.named(entry)
        body = named.body
        if isinstance(body, CalibrationBody):
            probe = self._probe(body.probe, entry.written_ms)
            if probe != body.probe:
                return replace(named, body=body.model_copy(update={"probe": probe}))
        return named

    def _probe(self, name: str, written_ms: int) -> str:
        return next((now for until_ms, now in self._probes.get(name, ()) if until_ms > written_ms), name)


def called_as_now(store: Store, entries: Iterable[Entry]) -> list[Entry]:
    """Entries with present names, as another store takes them, whose cellar file knows only these."""
    with store.read() as connection:
        renamed = Renames(connection, equipment_of(connection))
    return [renamed(entry) for entry in entries]
