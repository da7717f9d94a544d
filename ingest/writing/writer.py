"""The writer: gathers what the sources deliver, commits it together, and only then acknowledges it.

The order is the promise: sample, reading, commit on disk, acknowledgement. A commit that fails is tried again with the
same readings; until it succeeds nothing of it is acknowledged, so the broker still has it when everything else is lost.
"""

from __future__ import annotations

__all__ = ["Writer"]

import sqlite3
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from threading import Event

from ingest.errors import StoreError, StoreGone
from ingest.probes.barometer import Barometers
from ingest.probes.decode import Decoder
from ingest.probes.steadiness import Steadiness
from ingest.pulse import RetainedSample
from ingest.sources.sample import Sample, Ticket
from ingest.store import Store
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import add_part
from ingest.store.readings.undated import Anchor, date_estimates, note_estimates
from ingest.store.rejects import add_rejects
from ingest.writing.batch import Batch, BatchBuilder, Counters, Timing

_WritePulse = Callable[[sqlite3.Connection], None]

# Samples that nobody waits to see acknowledged (serial lines, QoS 0) are held in memory while the disk takes nothing;
# past this many the newest are refused and counted.
MOST_HELD = 200_000

# One commit takes at most this many samples, so that the acknowledgements of a flood flow evenly.
MOST_AT_ONCE = 4096

# After so many commits a turn ends although more waits, so that a pulse goes out in the middle of a flood.
MOST_COMMITS_A_TURN = 16


class Writer:
    """``offer`` may be called from any thread; ``turn`` from one thread only.

    acknowledge: takes the tickets of a commit, in the order in which their messages came.
    enough: how many waiting samples call for a commit at once, asked anew at each sample. monotonic: seconds.
    """

    def __init__(
        self,
        store: Store,
        decoder: Decoder,
        acknowledge: Callable[[Sequence[Ticket]], None],
        enough: Callable[[], int],
        *,
        steadiness: Steadiness | None = None,
        barometers: Barometers | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._store = store
        self._monotonic = monotonic
        self._appender = Appender(store)
        self._builder = BatchBuilder(decoder, self._appender, steadiness, barometers)
        self._acknowledge = acknowledge
        self._enough = enough
        self._queue: deque[Sample] = deque()
        self._held: Batch | None = None
        self._store_was_gone = False
        self._anchor: Anchor | None = None
        self.wake = Event()

    @property
    def counters(self) -> Counters:
        """What was done since the start."""
        return self._builder.counters

    @property
    def retained(self) -> dict[str, RetainedSample]:
        """What the broker had kept of each probe without a time of its own."""
        return self._builder.retained

    def offer(self, sample: Sample) -> None:
        """Take a sample from a source. Cheap, never blocks, never raises."""
        queue = self._queue
        if sample.ticket is None and len(queue) >= MOST_HELD:
            self.counters.dropped += 1
            return
        queue.append(sample)
        if len(queue) >= self._enough() and not self.wake.is_set():
            self.wake.set()

    @property
    def doubts(self) -> bool:
        """Whether readings on disk wait for the next turns to settle what they are; then those should come soon."""
        return self._builder.doubts

    @property
    def waiting(self) -> int:
        """Samples that are not on disk yet."""
        return len(self._queue) + (len(self._held.rows) if self._held else 0)

    def turn(
        self,
        now_ms: int,
        write_pulse: _WritePulse | None = None,
        timing: Timing = Timing(),  # noqa: B008  a named tuple of constants
        anchor: Anchor | None = None,
    ) -> bool:
        """Commit what waits and acknowledge it; False when a commit failed. What came meanwhile may wait for the next.

        write_pulse: writes the pulse in the same transaction, where it is due. timing: what the clock is worth; anchor:
        what estimated times count from, while they do. A failed commit is logged by the caller from
        ``counters.last_error`` and tried again by the next turn.
        """
        self.wake.clear()
        for _ in range(MOST_COMMITS_A_TURN):
            if self._held is None:
                self._held = self._builder.build(self._next_samples(), timing)
                if not self._queue:
                    self._builder.settle(self._held, self._monotonic())
            batch = self._held
            if not batch.rows and not batch.tickets and not batch.confirmed and write_pulse is None:
                self._held = None
                return True
            if not self._try_commit(batch, write_pulse, now_ms, anchor):
                return False
            write_pulse = None
            self._held = None
            if batch.tickets:
                self._acknowledge(batch.tickets)
                first_id = self._appender.newest_id - len(batch.rows) + 1
                self._builder.acknowledged(batch, first_id, self._monotonic())
            if len(self._queue) < self._enough():
                return True
        self.wake.set()
        return True

    def commit_pulse(self, now_ms: int, write_pulse: _WritePulse) -> bool:
        """Commit a pulse alone, while readings have to wait; False when the commit failed."""
        return self._try_commit(Batch(), write_pulse, now_ms, None)

    def date(self, anchor: Anchor, shift_ms: int, now_ms: int) -> int:
        """The clock has come right: move the estimated times of this boot by shift_ms; gives how many readings moved.

        Raises StoreError; then nothing moved, and it may be called again.
        """
        moved = date_estimates(self._store, anchor, shift_ms, now_ms)
        self._anchor = None
        self._appender.remember()
        if self._held is not None:
            # What a full disk has held back is on no disk yet: it is dated here, and known as a repeat as before.
            self._held.date(shift_ms)
            self._appender.choose(self._held.rows)
        return moved

    def _next_samples(self) -> Iterator[Sample]:
        take = self._queue.popleft
        for _ in range(min(len(self._queue), MOST_AT_ONCE)):
            yield take()

    def _try_commit(self, batch: Batch, write_pulse: _WritePulse | None, now_ms: int, anchor: Anchor | None) -> bool:
        try:
            if self._store_was_gone:
                # It may be back: with the batch that was in doubt, or without it.
                self._store.files.check()
                self._appender.remember()
                self._store_was_gone = False
            self._commit(batch, write_pulse, now_ms, anchor)
        except StoreError as error:
            self._store_was_gone |= isinstance(error, StoreGone)
            self.counters.failed_commits += 1
            self.counters.last_error = str(error)
            return False
        return True

    def _commit(self, batch: Batch, write_pulse: _WritePulse | None, now_ms: int, anchor: Anchor | None) -> None:
        def further(connection: sqlite3.Connection) -> None:
            for series, part in batch.parts:
                add_part(connection, series, part, now_ms)
            if batch.estimated and anchor is not None and anchor != self._anchor:
                note_estimates(connection, anchor, self._appender.newest_id)
            if write_pulse is not None:
                add_rejects(connection, self._builder.rejects.values())
                write_pulse(connection)

        if batch.rows or batch.confirmed or write_pulse is not None:
            # The change feed is written with the pulse: nobody who follows it is in a hurry.
            self._appender.commit(batch.rows, further, batch.confirmed, came=batch.came, feed=write_pulse is not None)
            if batch.estimated:
                self._anchor = anchor
            self.counters.commits += 1
            self.counters.last_commit_ms = now_ms
        self.counters.last_error = None
        self._builder.committed(batch)
        if write_pulse is not None:
            self._builder.rejects.clear()
