"""The writer: gathers what the sources deliver, commits it together, and only then acknowledges it.

The order is the promise: sample, reading, commit on disk, acknowledgement. A commit that fails is tried again with the
same readings; until it succeeds nothing of it is acknowledged, so the broker still has it when everything else is lost.
"""

from __future__ import annotations

__all__ = ["Counters", "Writer"]

import sqlite3
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from threading import Event
from zlib import crc32

from ingest.errors import StoreError
from ingest.probes.taking import Taker
from ingest.sources.sample import Sample, Ticket
from ingest.store.connection import Store
from ingest.store.fresh import Appender, Row
from ingest.store.pulse import Reject, add_rejects

# Samples that nobody waits to see acknowledged (serial lines, QoS 0) are held in memory while the disk takes nothing;
# past this many the newest are refused and counted.
MOST_HELD = 200_000

# One commit takes at most this many samples, so that the acknowledgements of a flood flow evenly.
MOST_AT_ONCE = 4096


@dataclass(slots=True)
class Counters:
    """What the writer did since it started."""

    samples: int = 0
    readings: int = 0
    repeats: int = 0
    refused: int = 0
    dropped: int = 0
    commits: int = 0
    failed_commits: int = 0
    last_commit_ms: int | None = None
    last_error: str | None = None


@dataclass(slots=True)
class _Batch:
    """What one commit is to hold."""

    rows: list[Row] = field(default_factory=list)
    tickets: list[Ticket] = field(default_factory=list)
    delivered: dict[int, int] = field(default_factory=dict)


class Writer:
    """``offer`` may be called from any thread; ``turn`` from one thread only.

    acknowledge: takes the tickets of a commit, in the order in which their messages came.
    enough: how many waiting samples call for a commit at once, asked anew at each sample.
    """

    def __init__(
        self,
        store: Store,
        taker: Taker,
        acknowledge: Callable[[Sequence[Ticket]], None],
        enough: Callable[[], int],
    ) -> None:
        self._appender = Appender(store)
        self._taker = taker
        self._acknowledge = acknowledge
        self._enough = enough
        self._queue: deque[Sample] = deque()
        self._held: _Batch | None = None
        self._rejects: dict[tuple[str, str, str, str], Reject] = {}
        # Packet id -> digest of the last bare numbers that came at QoS 1: a repeat of one has no time to know it by.
        self._delivered: dict[int, int] = dict(store.connection.execute("SELECT packet_id, digest FROM delivered"))
        self.wake = Event()
        self.counters = Counters()

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
    def waiting(self) -> int:
        """Samples that are not on disk yet."""
        return len(self._queue) + (len(self._held.rows) if self._held else 0)

    def count_rejects(self, rejects: Iterable[Reject]) -> None:
        """Add refusals that a source found itself, such as lines without an end."""
        for reject in rejects:
            self._count(reject)

    def turn(self, now_ms: int, also: Callable[[sqlite3.Connection], None] | None = None) -> bool:
        """Commit what waits and acknowledge it; True when all is on disk.

        also: further statements for the same transaction, such as the pulse. A failed commit is logged by the caller
        from ``counters.last_error`` and tried again by the next turn.
        """
        self.wake.clear()
        while True:
            if self._held is None:
                self._held = self._gather()
            batch = self._held
            if not batch.rows and not batch.tickets and also is None:
                self._held = None
                return True
            try:
                self._commit(batch, also, now_ms)
            except StoreError as error:
                self.counters.failed_commits += 1
                self.counters.last_error = str(error)
                return False
            also = None
            self._held = None
            if batch.tickets:
                self._acknowledge(batch.tickets)
            if len(self._queue) < self._enough():
                return True

    def _commit(self, batch: _Batch, also: Callable[[sqlite3.Connection], None] | None, now_ms: int) -> None:
        def further(connection: sqlite3.Connection) -> None:
            if batch.delivered:
                connection.executemany(
                    "INSERT INTO delivered (packet_id, digest) VALUES (?, ?)"
                    " ON CONFLICT (packet_id) DO UPDATE SET digest = excluded.digest",
                    batch.delivered.items(),
                )
            if also is not None:
                add_rejects(connection, self._rejects.values())
                also(connection)

        if batch.rows or batch.delivered or also is not None:
            self._appender.commit(batch.rows, further)
            self.counters.commits += 1
            self.counters.last_commit_ms = now_ms
        self.counters.last_error = None
        self.counters.readings += len(batch.rows)
        self._delivered.update(batch.delivered)
        if also is not None:
            self._rejects.clear()

    def _gather(self) -> _Batch:
        batch = _Batch()
        offered: list[Row] = []
        take_sample = self._taker.take
        next_sample = self._queue.popleft
        count = min(len(self._queue), MOST_AT_ONCE)
        for _ in range(count):
            sample = next_sample()
            ticket = sample.ticket
            if ticket is not None:
                batch.tickets.append(ticket)
            readings, refusals = take_sample(sample)
            seen: bool | None = None
            for series, own_ms, number, quality in readings:
                if own_ms is not None:
                    offered.append((series, own_ms, number, quality))
                    continue
                if ticket is not None:
                    if seen is None:
                        seen = self._seen_before(sample, ticket, batch)
                    if seen:
                        self.counters.repeats += 1
                        continue
                if offered:
                    # A stamp follows the newest reading, so what came before must be counted in first.
                    self._choose(offered, batch)
                at = self._appender.stamp(series, sample.arrival_ms)
                offered.append((series, at, number, quality))
            for refusal in refusals:
                self._refuse(sample, refusal.probe, refusal.reason, refusal.found)
        self.counters.samples += count
        self._choose(offered, batch)
        return batch

    def _choose(self, offered: list[Row], batch: _Batch) -> None:
        chosen = self._appender.choose(offered)
        self.counters.repeats += len(offered) - len(chosen)
        batch.rows.extend(chosen)
        offered.clear()

    def _seen_before(self, sample: Sample, ticket: Ticket, batch: _Batch) -> bool:
        digest = crc32(sample.payload, crc32(sample.address.encode()))
        known = batch.delivered.get(ticket.packet_id, self._delivered.get(ticket.packet_id))
        if sample.repeat and known == digest:
            return True
        batch.delivered[ticket.packet_id] = digest
        return False

    def _refuse(self, sample: Sample, probe: str, reason: str, found: str) -> None:
        self.counters.refused += 1
        self._count(
            Reject(sample.source, sample.address, probe, reason, 1, sample.arrival_ms, sample.arrival_ms, found)
        )

    def _count(self, reject: Reject) -> None:
        key = reject[:4]
        known = self._rejects.get(key)
        if known is not None:
            reject = reject._replace(times=known.times + reject.times, first_ms=known.first_ms)
        self._rejects[key] = reject
