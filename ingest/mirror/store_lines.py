"""What the store holds, as lines under the names that counted at the time of each."""

from __future__ import annotations

__all__ = ["StoreLines"]

import tomllib
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from ingest.journal.entry import Entry
from ingest.mirror.encoder import Head, PointLines, alarm_line, heads, reading_lines
from ingest.mirror.entry_points import entry_lines
from ingest.store import Store
from ingest.store.alarms.alarm_record import TransitionRow
from ingest.store.cellar_files import cellar_files
from ingest.store.mirror_queue import Unsent
from ingest.store.readings.block import Arrays
from ingest.store.readings.series import all_series, former_names
from ingest.store.readings.series_history import pieces, together

# Spans that end within this time of the newest one are read in one look.
NEAR_MS: Final = 10 * 60_000


class StoreLines:
    """Writes out one store. What it has looked up of names counts until leeside starts anew, as the cellar file."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._heads: dict[int, list[Head]] = {}
        self._sites: list[tuple[int, str]] = []

    def readings(self, series: int, readings: Arrays) -> PointLines:
        """Readings of one series."""
        return reading_lines(readings, self._heads_of(series))

    def spans(self, spans: Sequence[Unsent]) -> Iterator[PointLines]:
        """The readings of several spans, at least one, read piece by piece while they are asked for."""
        newest = max(span.to_ms for span in spans)
        near = [span for span in spans if span.from_ms >= newest - NEAR_MS]
        for series, readings in together(self._store, near):
            yield self.readings(series, readings)
        for span in spans:
            if span.from_ms < newest - NEAR_MS:
                for readings in pieces(self._store, span.series, span.from_ms, span.to_ms + 1):
                    yield self.readings(span.series, readings)

    def transitions(self, rows: Iterable[tuple[int, TransitionRow]]) -> list[str]:
        """Changes of alarms, each with its id."""
        return [alarm_line(id, row, self._site_at(row.at_ms)) for id, row in rows]

    def entries(self, entries: Iterable[Entry]) -> list[str]:
        """Entries of the journal and their results, struck ones as such."""
        # An entry may lie a little ahead of the clock; the site of that time could still change.
        return [
            line for entry in entries for line in entry_lines(entry, self._site_at(min(entry.at_ms, entry.written_ms)))
        ]

    def _heads_of(self, series: int) -> list[Head]:
        if series not in self._heads:
            for row in all_series(self._store):
                former = former_names(self._store, row.id)
                self._heads[row.id] = heads((row.probe, row.place), former, row.quantity, self._sites_known())
        return self._heads[series]

    def _sites_known(self) -> list[tuple[int, str]]:
        if not self._sites:
            self._sites = [(from_ms, str(_site_in(text))) for from_ms, text in cellar_files(self._store)]
        return self._sites

    def _site_at(self, at_ms: int) -> str:
        name = ""
        for from_ms, site in self._sites_known():
            if not name or from_ms <= at_ms:
                name = site
        return name


def _site_in(text: str) -> object:
    """The site's name in a cellar file that ran, and so was found right."""
    return tomllib.loads(text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}"))["site"]["name"].strip()
