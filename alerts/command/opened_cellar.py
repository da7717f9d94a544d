"""What most commands begin with: the cellar file, the store that it names, and a probe that is in both."""

from __future__ import annotations

__all__ = ["declared_probe", "open_cellar", "open_journal"]

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import typer

from ingest.cellar import Cellar, Probe, load_cellar
from ingest.process import wall_ms
from ingest.store import Store, create_or_open, open_existing
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.trouble import store_trouble


@contextmanager
def open_cellar(file: Path) -> Iterator[tuple[Cellar, Store]]:
    """Open the cellar and its store, and close the store at the end. Raises CellarFileError, StoreError."""
    cellar = load_cellar(file)
    with open_existing(cellar.store_path) as store:
        yield cellar, store


@contextmanager
def open_journal(file: Path, *, rehearse: bool = False) -> Iterator[tuple[Cellar, Store]]:
    """Open the cellar and its store to write entries, which a cellar that has never run takes as well.

    Where there is no store yet, it is made, and closed at the end; for a rehearsal it is made elsewhere and dropped.
    Raises CellarFileError, StoreError.
    """
    cellar = load_cellar(file)
    # A store that was moved away under the running leeside is not replaced by an empty one.
    if cellar.store_path.exists() or store_trouble(cellar.store_path):
        with open_existing(cellar.store_path) as store:
            yield cellar, store
        return
    with TemporaryDirectory(prefix="leeside-") as folder:
        path = Path(folder) / cellar.store_path.name if rehearse else cellar.store_path
        now_ms = wall_ms()
        with create_or_open(path, now_ms) as store:
            keep_cellar_file(store, cellar.text, now_ms)
            yield cellar, store


def declared_probe(cellar: Cellar, id: str | None, option: str) -> Probe:
    """Find a probe of the cellar file. Raises typer.BadParameter that names the option."""
    for probe in cellar.probe:
        if probe.id == id:
            return probe
    known = ", ".join(sorted(probe.id for probe in cellar.probe))
    problem = "say which probe" if id is None else f"no probe '{id}' in the cellar file"
    raise typer.BadParameter(f"{problem}; there are: {known}", param_hint=option)
