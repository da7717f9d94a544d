"""What most commands begin with: the cellar file, the store that it names, and a probe that is in both."""

from __future__ import annotations

__all__ = ["current_series", "declared_probe", "open_cellar"]

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import typer

from ingest.cellar import Cellar, Probe, load_cellar
from ingest.errors import IngestError
from ingest.store import Store, open_existing
from ingest.store.readings.series import Series, all_series


@contextmanager
def open_cellar(file: Path) -> Iterator[tuple[Cellar, Store]]:
    """Open the cellar and its store, and close the store at the end. Raises CellarFileError, StoreError."""
    cellar = load_cellar(file)
    with open_existing(cellar.store_path) as store:
        yield cellar, store


def declared_probe(cellar: Cellar, id: str | None, option: str) -> Probe:
    """Find a probe of the cellar file. Raises typer.BadParameter that names the option."""
    for probe in cellar.probe:
        if probe.id == id:
            return probe
    known = ", ".join(sorted(probe.id for probe in cellar.probe))
    problem = "say which probe" if id is None else f"no probe '{id}' in the cellar file"
    raise typer.BadParameter(f"{problem}; there are: {known}", param_hint=option)


def current_series(store: Store, probe: Probe) -> Series:
    """Find the series that a probe's next reading will belong to. Raises IngestError for a probe that is new."""
    for series in all_series(store):
        if (series.probe, series.place, series.quantity) == (probe.id, probe.at, probe.quantity):
            return series
    raise IngestError(
        f"the store does not know the probe {probe.id} yet; start `leeside run` once with this cellar file"
    )
