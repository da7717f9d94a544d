"""What most commands begin with: the cellar file, and the store that it names."""

from __future__ import annotations

__all__ = ["open_cellar"]

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ingest.cellar import Cellar, load_cellar
from ingest.store import Store, open_existing


@contextmanager
def open_cellar(file: Path) -> Iterator[tuple[Cellar, Store]]:
    """Open the cellar and its store, and close the store at the end. Raises CellarFileError, StoreError."""
    cellar = load_cellar(file)
    with open_existing(cellar.store_path) as store:
        yield cellar, store
