"""A writer over a real store, for tests."""

from __future__ import annotations

__all__ = ["BINDINGS", "Desk"]

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from samples import NOW, a_binding, a_json_binding

from ingest.probes.decode import Binding, Decoder
from ingest.pulse import IngestPulse
from ingest.sources.sample import Ticket
from ingest.store import Store, create_or_open, open_existing
from ingest.store.pulse_rows import write_pulse
from ingest.writing.writer import Writer

BINDINGS = (
    a_binding(),
    a_json_binding("/p", probe="k2-pressure", series=2),
    a_json_binding("/t", probe="k2-temperature", series=3),
    a_json_binding("/p", time_pointer="/at", probe="k3-pressure", series=4, address="dated"),
    a_binding(probe="line-t", series=5, source="line", address="line"),
)


class Desk:
    """A writer over a real store, with an acknowledge that looks into the store as another program would."""

    def __init__(self, path: Path, bindings: Sequence[Binding] = BINDINGS) -> None:
        self.path = path
        self.store: Store = create_or_open(path, NOW)
        self.acknowledged: list[int] = []
        self.seen_on_disk: list[int] = []
        self.enough = 10_000
        self.writer = Writer(self.store, Decoder(bindings), self._acknowledge, lambda: self.enough)

    def _acknowledge(self, tickets: Sequence[Ticket]) -> None:
        self.acknowledged.extend(ticket.packet_id for ticket in tickets)
        with open_existing(self.path) as other:
            self.seen_on_disk.append(other.connection.execute("SELECT count(*) FROM fresh").fetchone()[0])

    def pulse(self, connection: sqlite3.Connection) -> None:
        write_pulse(connection, IngestPulse(), NOW, NOW)

    def rows(self) -> list[tuple[int, int, float, int]]:
        return self.store.connection.execute("SELECT series, at, number, quality FROM fresh ORDER BY id").fetchall()

    def numbers(self) -> list[float]:
        return [row[2] for row in self.rows()]
