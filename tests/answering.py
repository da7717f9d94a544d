"""A turner in a thread of its own, so that a command gets the answer of a running leeside."""

from __future__ import annotations

__all__ = ["Answering"]

import threading
from pathlib import Path
from types import TracebackType

from alerts.turning.turner import Turner
from alerts.watch import Now
from ingest.cellar import load_cellar
from ingest.machine_clock import even_time
from ingest.process import wall_ms
from ingest.store import create_or_open


def _now() -> Now:
    even = even_time()
    return Now(wall_ms(), even.mono, even.boot)


class Answering:
    """Turns of the cellar file, one after the other, while the block lasts."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._end = threading.Event()
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._work)

    def _work(self) -> None:
        cellar = load_cellar(self._file)
        with create_or_open(cellar.store_path, wall_ms()) as store:
            turner = Turner(cellar, store, _now())
            while not self._end.is_set():
                turner.turn(_now())
                self._ready.set()
                self._end.wait(0.02)

    def __enter__(self) -> Answering:
        self._thread.start()
        assert self._ready.wait(10)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._end.set()
        self._thread.join(10)
        assert not self._thread.is_alive()
