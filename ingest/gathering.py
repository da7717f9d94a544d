"""From samples to what one commit is to hold: readings with their times and qualities, tickets, refusals.

No disk and no port here, and no clock: what the wall clock is worth comes in as an argument. What was gathered is kept by
the caller until it is committed, so nothing of it is lost when a commit fails.
"""

from __future__ import annotations

__all__ = ["Batch", "Counters", "Gatherer", "Timing"]

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final, NamedTuple
from zlib import crc32

from ingest.clock import Verdict
from ingest.probes.barometer import Barometers
from ingest.probes.reading import ESTIMATED, Quality, Reason, quality_code
from ingest.probes.steadiness import Steadiness
from ingest.probes.taking import RETAINED, Taker
from ingest.sources.sample import Sample, Ticket
from ingest.store.fresh import Appender, Row
from ingest.store.pulse import Reject
from ingest.store.scale import Part

_GOOD: Final = quality_code(Quality.GOOD)
_CLOCK: Final = quality_code(Quality.UNCERTAIN, Reason.CLOCK)
_BACKLOG: Final = quality_code(Quality.UNCERTAIN, Reason.BACKLOG)

# So soon after a connection came about, several bare numbers of one probe in one batch are what the broker had kept.
BURST_S: Final = 30.0
# No probe without a clock of its own is read this often; closer together they come out of a queue.
BURST_GAP_S: Final = 0.5


def _with_estimated_time(row: Row) -> Row:
    series, at_ms, number, quality = row
    return series, at_ms, number, (_CLOCK if quality == _GOOD else quality) | ESTIMATED


@dataclass(slots=True)
class Counters:
    """What was done since the start."""

    samples: int = 0
    readings: int = 0
    repeats: int = 0
    refused: int = 0
    dropped: int = 0
    commits: int = 0
    failed_commits: int = 0
    last_commit_ms: int | None = None
    last_error: str | None = None


class Timing(NamedTuple):
    """What the clocks say at the top of a turn.

    verdict: what the wall clock is worth; offset_ms: what is added to monotonic milliseconds to get UTC ms (by the wall
    clock, or an estimate); trusted_mono: samples that arrived before this monotonic moment (seconds) carry the time of a
    clock that was wrong.
    """

    verdict: Verdict = Verdict.RIGHT
    offset_ms: float = 0.0
    trusted_mono: float = float("-inf")

    def arrival_ms(self, sample: Sample) -> int:
        """The sample's arrival, UTC ms."""
        if self.verdict is Verdict.RIGHT and sample.arrival_mono >= self.trusted_mono:
            return sample.arrival_ms
        return round(self.offset_ms + sample.arrival_mono * 1000)


@dataclass(slots=True)
class Batch:
    """What one commit is to hold. parts: what the barometer changes in a series' scale."""

    rows: list[Row] = field(default_factory=list)
    tickets: list[Ticket] = field(default_factory=list)
    delivered: dict[int, int] = field(default_factory=dict)
    parts: list[tuple[int, Part]] = field(default_factory=list)
    estimated: bool = False


class Gatherer:
    """Makes batches. delivered: packet id -> digest of the last bare numbers at QoS 1, from the store."""

    def __init__(
        self,
        taker: Taker,
        appender: Appender,
        delivered: dict[int, int],
        steadiness: Steadiness | None = None,
        barometers: Barometers | None = None,
    ) -> None:
        self._taker = taker
        self._appender = appender
        self._delivered = delivered
        self._steadiness = steadiness
        self._barometers = barometers
        self._generation = 0
        self._generation_mono = 0.0
        self.rejects: dict[tuple[str, str, str, str], Reject] = {}
        # Probe -> (what the broker had kept, when it came): shown, never stored.
        self.retained: dict[str, tuple[str, int]] = {}
        self.counters = Counters()

    def gather(self, samples: Iterable[Sample], timing: Timing) -> Batch:
        """Readings, tickets and refusals of samples in the order of their arrival."""
        batch = Batch(estimated=timing.verdict is Verdict.UNKNOWN)
        offered: list[Row] = []
        bare: dict[int, tuple[int, float]] = {}
        take_sample = self._taker.take
        plain_time = timing.verdict is Verdict.RIGHT and timing.trusted_mono == float("-inf")
        self._taker.believe_clock(timing.verdict is Verdict.RIGHT)
        for sample in samples:
            self.counters.samples += 1
            if not plain_time:
                sample = sample._replace(arrival_ms=timing.arrival_ms(sample))  # noqa: PLW2901  the same sample, dated
            ticket = sample.ticket
            burst = False
            if ticket is not None:
                batch.tickets.append(ticket)
                burst = self._in_burst(sample, ticket)
            readings, refusals = take_sample(sample)
            seen: bool | None = None
            for series, own_ms, number, quality, relative in readings:
                if own_ms is not None and not relative:
                    offered.append((series, own_ms, number, quality))
                    continue
                if ticket is not None and seen is None:
                    seen = self._seen_before(sample, ticket, batch)
                if seen:
                    self.counters.repeats += 1
                    continue
                if own_ms is not None:
                    # Counted back from an arrival that is itself an estimate as long as the clock is not right.
                    doubt = timing.verdict is Verdict.UNKNOWN and quality == _GOOD
                    offered.append((series, own_ms, number, _CLOCK if doubt else quality))
                    continue
                if offered:
                    # A stamp follows the newest reading, so what came before must be counted in first.
                    self._choose(offered, batch)
                at = self._appender.stamp(series, sample.arrival_ms)
                self._choose([(series, at, number, quality)], batch)
                if burst:
                    self._doubt_earlier(series, sample.arrival_mono, bare, batch)
                if batch.estimated and batch.rows and batch.rows[-1][1] == at:
                    batch.rows[-1] = _with_estimated_time(batch.rows[-1])
            for refusal in refusals:
                self._refuse(sample, refusal.probe, refusal.reason, refusal.found)
        self._choose(offered, batch)
        return batch

    def committed(self, batch: Batch) -> None:
        """A batch is on disk."""
        self.counters.readings += len(batch.rows)
        self._delivered.update(batch.delivered)

    def _choose(self, offered: list[Row], batch: Batch) -> None:
        chosen = self._appender.choose(offered)
        self.counters.repeats += len(offered) - len(chosen)
        offered.clear()
        if self._steadiness is not None:
            chosen = list(map(self._steadiness.judged, chosen))
        batch.rows.extend(chosen)
        if self._barometers is not None:
            batch.parts.extend(self._barometers.parts(chosen))

    def _in_burst(self, sample: Sample, ticket: Ticket) -> bool:
        if ticket.generation != self._generation:
            self._generation, self._generation_mono = ticket.generation, sample.arrival_mono
        return sample.arrival_mono - self._generation_mono < BURST_S

    @staticmethod
    def _doubt_earlier(series: int, mono: float, bare: dict[int, tuple[int, float]], batch: Batch) -> None:
        """Of the bare numbers that the broker had kept only the newest says how things are; the others are as old as
        nobody knows."""
        here = len(batch.rows) - 1
        earlier = bare.get(series)
        if earlier is not None and mono - earlier[1] < BURST_GAP_S:
            number, at_ms, value, quality = batch.rows[earlier[0]]
            if quality & ~ESTIMATED in (_GOOD, _CLOCK):
                batch.rows[earlier[0]] = (number, at_ms, value, _BACKLOG | (quality & ESTIMATED))
        bare[series] = (here, mono)

    def _seen_before(self, sample: Sample, ticket: Ticket, batch: Batch) -> bool:
        digest = crc32(sample.payload, crc32(sample.address.encode()))
        known = batch.delivered.get(ticket.packet_id, self._delivered.get(ticket.packet_id))
        if sample.repeat and known == digest:
            return True
        batch.delivered[ticket.packet_id] = digest
        return False

    def _refuse(self, sample: Sample, probe: str, reason: str, found: str) -> None:
        if reason == RETAINED:
            self.retained[probe] = (found, sample.arrival_ms)
        self.counters.refused += 1
        self.count(Reject(sample.source, sample.address, probe, reason, 1, sample.arrival_ms, sample.arrival_ms, found))

    def count(self, reject: Reject) -> None:
        """Add a refusal to those that the next sign of life writes down."""
        key = reject[:4]
        known = self.rejects.get(key)
        if known is not None:
            reject = reject._replace(times=known.times + reject.times, first_ms=known.first_ms)
        self.rejects[key] = reject
