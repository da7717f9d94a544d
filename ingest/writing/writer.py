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
from ingest.reading import Row
from ingest.sources.sample import Sample, Ticket
from ingest.store import Store
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import add_part, newest_part_id, scales
from ingest.store.readings.undated import Anchor, date_estimates, note_estimates
from ingest.store.rejects import add_rejects
from ingest.writing.batch import Batch, BatchBuilder, Counters, Timing
from ingest.writing.board_clock import ClockState
from ingest.writing.calm import Calm
from ingest.writing.pace import ProbePaces

_WritePulse = Callable[[sqlite3.Connection], None]

# Samples that nobody waits to see acknowledged (serial lines, QoS 0) are held in memory while the disk takes nothing;
# past this many, or this many bytes of payload, the newest are refused and counted.
MOST_HELD = 200_000
MOST_HELD_BYTES = 64_000_000

# One commit takes at most this many samples, so that the acknowledgements of a flood flow evenly.
MOST_AT_ONCE = 4096

# No broker that is known sends fewer messages before it waits for an acknowledgement.
SMALL_WINDOW = 10

_NEVER = float("inf")

# After so many commits a turn ends although more waits, so that a pulse goes out in the middle of a flood.
MOST_COMMITS_A_TURN = 16


class Writer:
    """``offer`` may be called from any thread; ``gather`` and ``turn`` from one thread only.

    acknowledge: takes the tickets of a commit, in the order in which their messages came.
    enough: how many waiting samples call for a commit at once, asked again at each sample; then ``wake`` is set. Any
    sample sets ``arrived``. calm: how long a reading may wait; paces: how often probes read. feed_every:
    with every so many-th pulse the change feed is written. monotonic: seconds.
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
        calm: Calm | None = None,
        paces: ProbePaces | None = None,
        feed_every: int = 1,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._store = store
        self._monotonic = monotonic
        self._appender = Appender(store)
        self._builder = BatchBuilder(decoder, self._appender, steadiness, barometers, calm, paces)
        self._calm = calm
        self._feed_every = feed_every
        self._pulses = 0
        self._newest_part: int | None = None
        self._acknowledge = acknowledge
        self._enough = enough
        self._queue: deque[Sample] = deque()
        self._queued_bytes = 0
        self._held: Batch | None = None
        self._gathered = 0
        self._failed = False
        self._store_was_gone = False
        self._anchor: Anchor | None = None
        self.wake = Event()
        self.arrived = Event()
        # The monotonic moments at which the most urgent reading held is to be committed, and the last message came.
        self._due_mono = _NEVER
        self._message_mono = 0.0

    @property
    def counters(self) -> Counters:
        """What was done since the start."""
        return self._builder.counters

    @property
    def retained(self) -> dict[str, RetainedSample]:
        """What the broker had kept of each probe without a time of its own."""
        return self._builder.retained

    @property
    def babbling(self) -> dict[str, int]:
        """Probe -> readings that were too many since the last pulse."""
        return self._builder.babbling

    def offer(self, sample: Sample) -> None:
        """Take a sample from a source. Cheap, never blocks, never raises."""
        queue = self._queue
        size = len(sample.payload)
        if sample.ticket is None and (len(queue) >= MOST_HELD or self._queued_bytes + size > MOST_HELD_BYTES):
            self.counters.dropped += 1
            return
        queue.append(sample)
        self._queued_bytes += size
        if len(queue) + self._gathered >= self._enough() and not self.wake.is_set():
            self.wake.set()
        if not self.arrived.is_set():
            self.arrived.set()

    @property
    def due_mono(self) -> float:
        """The monotonic moment (seconds) by which what was gathered is to be committed.

        A broker may send no more than ten messages before it is answered, and says so to nobody. So where so many wait
        and no other has come for as long as readings usually wait, they are committed.
        """
        if self._calm is None or self._held is None or self._failed or len(self._held.tickets) < SMALL_WINDOW:
            return self._due_mono
        return min(self._due_mono, self._message_mono + self._calm.commit_s)

    @property
    def doubts(self) -> bool:
        """Whether readings on disk wait for the next turns to settle what they are; then those should come soon."""
        return self._builder.doubts

    @property
    def waiting(self) -> int:
        """Samples that are not on disk yet."""
        return len(self._queue) + (len(self._held.rows) if self._held else 0)

    @property
    def held(self) -> Sequence[Row]:
        """Readings of the batch that could not be committed yet."""
        return self._held.rows if self._held else ()

    @property
    def connection(self) -> tuple[int, float]:
        """Number and begin (monotonic seconds) of the broker's connection that the last batch saw."""
        return self._builder.connection

    def queued(self, start: int, count: int) -> list[Sample]:
        """Samples that wait behind the batch that is held, from a place on."""
        return [self._queue[place] for place in range(start, min(len(self._queue), start + count))]

    def gather(self, timing: Timing) -> None:
        """Make readings of what waits without committing them, so that ``due_mono`` says when that is to be done."""
        self.arrived.clear()
        if not self._failed and self._queue:
            self._build(timing)

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
        self.arrived.clear()
        for _ in range(MOST_COMMITS_A_TURN):
            batch = self._held if self._held is not None and self._failed else self._build(timing)
            if not self._queue and not self._failed:
                self._builder.settle(batch, self._monotonic())
            if not batch.rows and not batch.tickets and not batch.confirmed and write_pulse is None:
                self._release()
                return True
            self._failed = not self._try_commit(batch, write_pulse, now_ms, anchor)
            if self._failed:
                # It is tried again at its own pace; more samples do not hurry it.
                self._gathered, self._due_mono = 0, _NEVER
                return False
            write_pulse = None
            self._release()
            if batch.tickets:
                self._acknowledge(batch.tickets)
                first_id = self._appender.newest_id - len(batch.rows) + 1
                self._builder.acknowledged(batch, first_id, self._monotonic())
            if len(self._queue) < self._enough():
                if self._queue:
                    self.arrived.set()
                return True
        self.wake.set()
        return True

    def commit_pulse(self, now_ms: int, write_pulse: _WritePulse) -> bool:
        """Commit a pulse alone, while readings have to wait; False when the commit failed."""
        return self._try_commit(Batch(), write_pulse, now_ms, None)

    def remember(self) -> None:
        """Read again what the store holds, after times in it were forgotten."""
        self._appender.remember()

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

    def _build(self, timing: Timing) -> Batch:
        """Add what waits to the batch that is held; but one whose times are of another worth is committed first."""
        batch = self._held
        if batch is not None and batch.estimated != (timing.verdict is ClockState.UNKNOWN):
            return batch
        self._renew_scales()
        messages = 0 if batch is None else len(batch.tickets)
        self._held = batch = self._builder.build(self._next_samples(batch), timing, batch)
        self._gathered = batch.samples
        now = self._monotonic()
        self._due_mono = min(self._due_mono, now + batch.wait_s)
        if len(batch.tickets) > messages:
            self._message_mono = now
        return batch

    def _release(self) -> None:
        self._held = None
        self._gathered, self._due_mono = 0, _NEVER

    def _renew_scales(self) -> None:
        """A calibration or the barometer may have changed what numbers mean."""
        if self._calm is None:
            return
        try:
            newest_part = newest_part_id(self._store)
            if newest_part != self._newest_part:
                self._calm.scales = {series: scales(self._store, series) for series in self._calm.series}
                self._newest_part = newest_part
        except sqlite3.Error:
            pass  # a store that cannot be read is reported by the commit that follows

    def _next_samples(self, batch: Batch | None) -> Iterator[Sample]:
        room = MOST_AT_ONCE - (0 if batch is None else batch.samples)
        take = self._queue.popleft
        for _ in range(min(len(self._queue), room)):
            sample = take()
            self._queued_bytes -= len(sample.payload)
            yield sample
        if not self._queue:
            # Counted without a lock by several threads; here it is known.
            self._queued_bytes = 0

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
            # The change feed is written with a pulse: nobody who follows it is in a hurry.
            feed = write_pulse is not None and self._pulses % self._feed_every == 0
            self._appender.commit(batch.rows, further, batch.confirmed, came=batch.came, feed=feed)
            if batch.estimated:
                self._anchor = anchor
            self.counters.commits += 1
            self.counters.last_commit_ms = now_ms
        elif batch.tickets:
            # Nothing but repeats and what cannot be read: it is acknowledged only if what it repeats is still there.
            self._store.files.check()
        self.counters.last_error = None
        self._builder.committed(batch)
        if write_pulse is not None:
            self._pulses += 1
            self._builder.rejects.clear()
            self._builder.babbling.clear()
