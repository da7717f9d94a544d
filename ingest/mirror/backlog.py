"""The backlog: spans of readings that were put off, walked through a batch at a time."""

from __future__ import annotations

__all__ = ["Backlog"]

from collections.abc import Iterator
from dataclasses import dataclass

from ingest.mirror.client import Reply
from ingest.mirror.sending import Sender
from ingest.mirror.standing import MirrorProgress
from ingest.mirror.store_lines import StoreLines
from ingest.store import Store
from ingest.store.change_feed import Touch
from ingest.store.mirror_queue import next_span, shrink
from ingest.store.readings.block import Arrays
from ingest.store.readings.series_history import pieces


@dataclass(slots=True)
class _Walk:
    """A span on its way: from_ms is where its row begins now, rest what was read and is not sent yet."""

    series: int
    from_ms: int
    to_ms: int
    coming: Iterator[Arrays]
    rest: Arrays

    def take(self, most: int) -> Arrays:
        """The next readings, at most as many, none at the end."""
        while not len(self.rest.at_ms):
            piece = next(self.coming, None)
            if piece is None:
                return self.rest
            self.rest = piece
        taken = self.rest.part(slice(0, most))
        self.rest = self.rest.part(slice(most, None))
        return taken


class Backlog:
    """Sends the spans of a store, the readings of one in order of time. A span shrinks only after its batch is sent."""

    def __init__(self, store: Store, lines: StoreLines, sender: Sender, standing: MirrorProgress) -> None:
        self._store = store
        self._lines = lines
        self._sender = sender
        self._standing = standing
        self._walk: _Walk | None = None

    def forget(self) -> None:
        """What was read ahead counts for nothing; it is read again."""
        self._walk = None

    def touched(self, touch: Touch) -> None:
        """A change: what was read ahead may be the value of before."""
        walk = self._walk
        if walk is not None and touch.series == walk.series and touch.from_ms <= walk.to_ms:
            self._walk = None

    def send(self) -> Reply | None:
        """Send the next batch, if there is one; the reply that stopped it, or None."""
        walk = self._walk or self._next_walk()
        if walk is None:
            return None
        # Until the batch is delivered and its place kept, what was read counts for nothing.
        self._walk = None
        readings = walk.take(self._sender.batch)
        next_ms = walk.to_ms + 1
        if len(readings.at_ms):
            made = self._lines.readings(walk.series, readings)
            self._standing.counted(left_out=made.left_out)
            stopped = self._sender.send(self._store, made.lines)
            if stopped is not None:
                return stopped
            next_ms = int(readings.at_ms[-1]) + 1
        if shrink(self._store, walk.series, walk.from_ms, next_ms) and next_ms <= walk.to_ms:
            walk.from_ms = next_ms
            self._walk = walk
        return None

    def _next_walk(self) -> _Walk | None:
        span = next_span(self._store)
        if span is None:
            return None
        coming = pieces(self._store, span.series, span.from_ms, span.to_ms + 1)
        return _Walk(span.series, span.from_ms, span.to_ms, coming, Arrays.empty())
