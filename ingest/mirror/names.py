"""The names that points carry: those that site, place and probe had at the time of each."""

from __future__ import annotations

__all__ = ["PointNames"]

import tomllib

from ingest.mirror.encoder import Head, heads, site_at
from ingest.store import Store
from ingest.store.cellar_files import cellar_files
from ingest.store.readings.series import all_series, former_names


class PointNames:
    """The names in a store. Once looked up they hold until leeside starts again, as the cellar file does."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._sites = [(from_ms, _site_in(text)) for from_ms, text in cellar_files(store)]
        self._heads: dict[int, list[Head]] = {}

    def heads_of(self, series: int) -> list[Head]:
        """Return what the lines of a series begin with."""
        if series not in self._heads:
            for row in all_series(self._store):
                former = former_names(self._store, row.id)
                self._heads[row.id] = heads((row.probe, row.place), former, row.quantity, self._sites)
        return self._heads[series]

    def site_at(self, at_ms: int) -> str:
        """Return the site's name at a moment."""
        return site_at(self._sites, at_ms)


def _site_in(text: str) -> str:
    """Return the site's name in a cellar file that ran, and so was found right."""
    return str(tomllib.loads(text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}"))["site"]["name"]).strip()
