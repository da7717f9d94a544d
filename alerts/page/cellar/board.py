"""The cellar view as it was made last, once for all who look at it.

While anybody watches, one thread looks whether the store has changed, and makes the pieces again if so. With nobody
watching it ends, and a page that is opened makes them for itself. What is sent to a watcher is whatever has changed
since it was last sent something: one that reads slowly gets fewer and newer pieces, and holds back nobody.
"""

from __future__ import annotations

__all__ = ["MOST_WATCHERS", "Board", "ShownCellar", "Watcher"]

import asyncio
import logging
import secrets
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Final

from alerts.page.cellar.cellar_pieces import CellarPieces
from alerts.page.context import PageContext
from alerts.view.format import local_time
from alerts.view.status import CellarStatus, cellar_status
from ingest.errors import IngestError
from ingest.machine_clock import EvenTime, even_time
from ingest.store import Store, open_existing

log = logging.getLogger("page")

# Each holds a connection open; pages and forms need the others (``connections.MOST_CONNECTIONS``).
MOST_WATCHERS: Final = 24
# How often the thread looks whether anything has changed: one question to SQLite, answered from memory.
_LOOK_EVERY_S: Final = 0.5
# So often the pieces are made at most: a person sees no more.
_MAKE_EVERY_S: Final = 2.0
# And never with more than this share of a processor: a large cellar on a small board is shown more seldom.
_MOST_SHARE: Final = 0.04
# Without a change they are made again after this time, since what time alone changes (a daemon that does not respond)
# must show as well.
_MAKE_ANYWAY_S: Final = 10.0


@dataclass(frozen=True, slots=True)
class ShownCellar:
    """The pieces at a moment. seq: counts the times that they were made; changed: by id, when each became what it is.

    trouble: why the store cannot be read now, "" where it can; the pieces are then those of at_ms.
    """

    seq: int
    at_ms: int
    time: str
    title: str
    pieces: Mapping[str, str]
    changed: Mapping[str, int]
    status: CellarStatus | None
    trouble: str = ""


@dataclass(eq=False, slots=True)
class Watcher:
    """Somebody who is to be woken when there is something new."""

    loop: asyncio.AbstractEventLoop
    news: asyncio.Event = field(default_factory=asyncio.Event)

    def wake(self) -> None:
        """Wake it, from any thread."""
        with suppress(RuntimeError):  # its loop has just been closed
            self.loop.call_soon_threadsafe(self.news.set)


class Board:
    """The newest snapshot of a cellar, and those who watch it. boot: names this board, since its numbers begin at 0."""

    def __init__(self, context: PageContext, even: Callable[[], EvenTime | None] = even_time) -> None:
        self._cellar = context.cellar
        self._clock = context.clock
        self._even = even
        self._pieces = CellarPieces(context)
        self._making = threading.Lock()
        self._members = threading.Lock()
        self._watchers: set[Watcher] = set()
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()
        self._made_s = float("-inf")
        self._seen = -1
        self._cost_s = 0.0
        self.boot = secrets.token_hex(4)
        self.snapshot = ShownCellar(0, 0, "", "", {}, {}, None)

    def now_ms(self) -> int:
        """Give the present time, UTC ms."""
        return self._clock()

    def fresh(self) -> ShownCellar:
        """Give the cellar as it is now. Raises StoreError."""
        asked_s = time.monotonic()
        with self._making:
            # Whoever waited for another's has one that was begun after the question.
            if self._made_s < asked_s:
                with open_existing(self._cellar.store_path) as store:
                    self._make(store)
            return self.snapshot

    def join(self, loop: asyncio.AbstractEventLoop) -> Watcher | None:
        """Begin to watch; None where too many do already. Whoever joined must ``leave``."""
        with self._members:
            if len(self._watchers) >= MOST_WATCHERS:
                return None
            watcher = Watcher(loop)
            self._watchers.add(watcher)
            self._stop.clear()
            if self._thread is None:
                self._thread = threading.Thread(target=self._produce, name="cellar view", daemon=True)
                self._thread.start()
            return watcher

    def leave(self, watcher: Watcher) -> None:
        """End to watch; safe to call twice."""
        with self._members:
            self._watchers.discard(watcher)
            if not self._watchers:
                self._stop.set()

    def _produce(self) -> None:
        """Look and make until nobody watches. The one broad handler of the view: a mistake must not end it."""
        store: Store | None = None
        while True:
            with self._members:
                if not self._watchers:
                    self._thread = None
                    break
            trouble = ""
            try:
                store = self._look(store)
            except IngestError as error:
                trouble = str(error)
            except Exception:
                log.exception("the cellar view could not be made")
                trouble = "leeside's log says why"
            if trouble:
                if store is not None:
                    store.close()
                store = None
                self._report(trouble)
            self._stop.wait(_LOOK_EVERY_S)
        if store is not None:
            store.close()

    def _look(self, store: Store | None) -> Store:
        if store is None:
            store = open_existing(self._cellar.store_path)
            self._seen = -1
        store.files.check()
        version = store.version()
        waited_s = time.monotonic() - self._made_s
        least_s = max(_MAKE_EVERY_S, self._cost_s / _MOST_SHARE)
        if waited_s >= (least_s if version != self._seen else max(least_s, _MAKE_ANYWAY_S)):
            self._seen = version
            with self._making:
                self._make(store)
            self._wake()
        return store

    def _report(self, trouble: str) -> None:
        """Let those who watch know why what they see is not renewed, once."""
        last = self.snapshot
        if trouble != last.trouble:
            self.snapshot = replace(last, seq=last.seq + 1, trouble=trouble)
            self._wake()

    def _wake(self) -> None:
        with self._members:
            watchers = list(self._watchers)
        for watcher in watchers:
            watcher.wake()

    def _make(self, store: Store) -> None:
        began_s, spent_s, now_ms = time.monotonic(), time.thread_time(), self._clock()
        with store.read():
            status = cellar_status(self._cellar, store, now_ms, self._even())
            pieces = self._pieces.make(store, status)
        last = self.snapshot
        seq = last.seq + 1
        changed = {id: last.changed[id] if last.pieces.get(id) == html else seq for id, html in pieces.items()}
        time_text = local_time(now_ms, self._cellar.site.zone, now_ms)
        self.snapshot = ShownCellar(seq, now_ms, time_text, _title(status), pieces, changed, status)
        self._made_s = began_s
        self._cost_s = time.thread_time() - spent_s


def _title(status: CellarStatus) -> str:
    """The view's title: with what needs a person in front."""
    standing = [alarm for alarm in status.alarms if alarm.state != "returned"]
    if not standing:
        return "Cellar"
    return f"{'1 alarm' if len(standing) == 1 else f'{len(standing)} alarms'} · Cellar"
