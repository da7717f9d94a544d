"""From samples to what one commit is to hold: readings with their times and qualities, tickets, refusals.

No disk and no port here, and no clock: what the wall clock is worth comes in as an argument. What was gathered is kept
by the caller until it is committed, so nothing of it is lost when a commit fails.
"""

from __future__ import annotations

__all__ = ["Batch", "BatchBuilder", "Counters", "Timing"]

import logging
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final, NamedTuple
from zlib import crc32

from ingest.probes.barometer import Barometers
from ingest.probes.decode import RETAINED, Decoded, Decoder, Refusal
from ingest.probes.steadiness import Steadiness
from ingest.pulse import RetainedSample
from ingest.reading import ESTIMATED, Part, Quality, Reason, Row, quality_code
from ingest.sources.sample import Sample, Ticket
from ingest.store.readings.fresh import REMEMBERED_IDS, Appender, came_with
from ingest.store.rejects import Reject
from ingest.writing.board_clock import ClockState
from ingest.writing.calm import Calm
from ingest.writing.pace import BABBLES, LIVE_S, ProbePaces

_log = logging.getLogger("ingest")

_GOOD: Final = quality_code(Quality.GOOD)
_CLOCK: Final = quality_code(Quality.UNCERTAIN, Reason.CLOCK)
_BACKLOG: Final = quality_code(Quality.UNCERTAIN, Reason.BACKLOG)

# The wall clock and the even one differ by this much only when the first was set.
STEP_MS: Final = 2000

# So soon after a connection came about, a bare number may be one that the broker had kept. It is stored as uncertain;
# if for this long no other has come, although the broker knew that it may send, it was the newest and says how
# things are. So does one that follows the one before no sooner than its probe sends (``ingest.writing.pace``).
BURST_S: Final = 30.0
BURST_GAP_S: Final = 0.5
# Later on a backlog still goes on as long as numbers of one probe come so close together: no bare probe is so quick.
GOING_ON_GAP_S: Final = 0.1


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
    clock, or an estimate); trusted_mono: samples that arrived before this monotonic moment (seconds) carry the time of
    a clock that was wrong.
    """

    verdict: ClockState = ClockState.RIGHT
    offset_ms: float = 0.0
    trusted_mono: float = float("-inf")

    def arrival_ms(self, sample: Sample) -> int:
        """The sample's arrival, UTC ms."""
        by_even_clock = round(self.offset_ms + sample.arrival_mono * 1000)
        if self.verdict is not ClockState.RIGHT or sample.arrival_mono < self.trusted_mono:
            return by_even_clock
        # The wall clock may have been wrong between two turns.
        return sample.arrival_ms if abs(sample.arrival_ms - by_even_clock) <= STEP_MS else by_even_clock


@dataclass(slots=True)
class Batch:
    """What one commit is to hold. delivered: packet id -> digest of bare numbers at QoS 1; came: place of a row -> with
    which of them it came; parts: what the barometer changes in a series' scale; confirmed: ids of rows on disk that
    were doubted and are good; samples: from how many it was made; wait_s: how long the most urgent of the rows that
    were added last may wait."""

    rows: list[Row] = field(default_factory=list)
    tickets: list[Ticket] = field(default_factory=list)
    delivered: dict[int, int] = field(default_factory=dict)
    came: dict[int, int] = field(default_factory=dict)
    parts: list[tuple[int, Part]] = field(default_factory=list)
    confirmed: list[int] = field(default_factory=list)
    estimated: bool = False
    samples: int = 0
    wait_s: float = float("inf")

    def date(self, shift_ms: int) -> None:
        """The clock has come right: move the estimated times among the rows, as those on disk were moved."""
        for place, (series, at_ms, number, quality) in enumerate(self.rows):
            if quality & ESTIMATED:
                right = quality & ~ESTIMATED
                self.rows[place] = (series, at_ms + shift_ms, number, _GOOD if right == _CLOCK else right)
        self.estimated = False


@dataclass(slots=True)
class _Doubted:
    """The newest of a probe's numbers that the broker may have kept.

    rows: their places in the batch, and once that is on disk their ids; mono: when they came; ticket: with which
    message.
    """

    batch: Batch
    rows: list[int]
    mono: float
    ticket: Ticket
    on_disk: bool = False


class BatchBuilder:
    """Makes batches."""

    def __init__(
        self,
        decoder: Decoder,
        appender: Appender,
        steadiness: Steadiness | None = None,
        barometers: Barometers | None = None,
        calm: Calm | None = None,
        paces: ProbePaces | None = None,
    ) -> None:
        self._decoder = decoder
        self._appender = appender
        # Packet id -> digest of the last bare numbers at QoS 1, the oldest in front.
        self._delivered = appender.delivered()
        self._doubted: dict[int, _Doubted] = {}
        # By series: the ticket of its newest number, when it came, and whether it was live.
        self._newest_number: dict[int, tuple[Ticket, float, bool]] = {}
        # When the broker was last told that it may send more of what it had kept, and when it was last told anything.
        self._released_mono = float("-inf")
        self._acknowledged_mono = float("-inf")
        self._paces = paces
        # Probe -> readings that were too many since the last pulse.
        self.babbling: dict[str, int] = {}
        self._steadiness = steadiness
        self._barometers = barometers
        self._calm = calm
        self._generation = 0
        self._generation_mono = 0.0
        self.rejects: dict[tuple[str, str, str, str], Reject] = {}
        # By probe: shown, never stored.
        self.retained: dict[str, RetainedSample] = {}
        self.counters = Counters()

    def build(self, samples: Iterable[Sample], timing: Timing, batch: Batch | None = None) -> Batch:
        """Readings, tickets and refusals of samples in the order of their arrival, added to a batch if one is given."""
        batch = Batch(estimated=timing.verdict is ClockState.UNKNOWN) if batch is None else batch
        batch.wait_s = float("inf")
        offered: list[Row] = []
        decode = self._decode
        plain_time = timing == Timing()
        self._decoder.believe_clock(timing.verdict is ClockState.RIGHT)
        for sample in samples:
            self.counters.samples += 1
            batch.samples += 1
            if not plain_time and (arrival_ms := timing.arrival_ms(sample)) != sample.arrival_ms:
                sample = sample._replace(arrival_ms=arrival_ms)  # noqa: PLW2901  the same sample, dated
            ticket = sample.ticket
            if ticket is not None:
                batch.tickets.append(ticket)
                if ticket.generation != self._generation:
                    self._generation, self._generation_mono = ticket.generation, sample.arrival_mono
            readings, refusals = decode(sample)
            seen: bool | None = None
            for series, own_ms, number, quality, relative in readings:
                if own_ms is not None and not relative:
                    if self._is_babble(series, own_ms, number, sample):
                        continue
                    offered.append((series, own_ms, number, quality))
                    continue
                if ticket is not None and seen is None:
                    seen = self._seen_before(sample, ticket, batch)
                if seen:
                    self.counters.repeats += 1
                    continue
                if offered:
                    # A stamp follows the newest reading, so what came before must be counted in first.
                    self._choose(offered, batch)
                self._add_undated(series, own_ms, number, quality, sample, batch)
            for refusal in refusals:
                self._refuse(sample, refusal.probe, refusal.reason, refusal.found)
        self._choose(offered, batch)
        if batch.confirmed:
            batch.wait_s = 0.0
        return batch

    def _decode(self, sample: Sample) -> Decoded:
        try:
            return self._decoder.decode(sample)
        except Exception as error:  # noqa: BLE001 - a mistake of ours in one sample must not hold up all that came with it
            _log.exception("a sample of %s %s could not be read", sample.source, sample.address)
            return Decoded([], [Refusal("", "leeside stumbled over it", f"{type(error).__name__}: {error!a:.100}")])

    def committed(self, batch: Batch) -> None:
        """A batch is on disk."""
        self.counters.readings += len(batch.rows)
        for packet_id, digest in batch.delivered.items():
            # Taken out first, so that the oldest stand in front.
            self._delivered.pop(packet_id, None)
            self._delivered[packet_id] = digest
        if len(self._delivered) > 2 * REMEMBERED_IDS:
            for packet_id in list(self._delivered)[:-REMEMBERED_IDS]:
                del self._delivered[packet_id]

    def acknowledged(self, batch: Batch, first_id: int, mono: float) -> None:
        """A batch was acknowledged to the broker at that monotonic moment (seconds); first_id: of its rows."""
        within_s = mono - max(self._acknowledged_mono, self._generation_mono)
        if self._paces is None or self._paces.is_backlog(len(batch.tickets), within_s):
            self._released_mono = mono
        self._acknowledged_mono = mono
        for doubted in self._doubted.values():
            if doubted.batch is batch:
                doubted.rows = [first_id + place for place in doubted.rows]
                doubted.on_disk = True

    def settle(self, batch: Batch, mono: float) -> None:
        """Nothing more waits at this monotonic moment (seconds): add to a batch which doubted rows were the newest."""
        for series, doubted in list(self._doubted.items()):
            if doubted.on_disk and mono - max(doubted.mono, self._released_mono) >= BURST_GAP_S:
                self._confirm(doubted, batch)
                del self._doubted[series]

    @property
    def connection(self) -> tuple[int, float]:
        """Number and begin (monotonic seconds) of the newest connection that a message came by."""
        return self._generation, self._generation_mono

    @property
    def doubts(self) -> bool:
        """Whether a row on disk waits to be settled."""
        return bool(self._doubted)

    def _add_undated(
        self, series: int, relative_ms: int | None, number: float, quality: int, sample: Sample, batch: Batch
    ) -> None:
        """A reading without a time of its own, or with one that was counted back from its arrival."""
        if self._is_babble(series, relative_ms, number, sample):
            return
        before = len(batch.rows)
        if relative_ms is None:
            at_ms = self._appender.stamp(series, sample.arrival_ms)
            self._choose([(series, at_ms, number, quality)], batch)
            if batch.estimated:
                batch.rows[-1] = _with_estimated_time(batch.rows[-1])
        else:
            # The arrival is itself an estimate as long as the clock is not right.
            in_doubt = batch.estimated and quality == _GOOD
            self._choose([(series, relative_ms, number, _CLOCK if in_doubt else quality)], batch)
        if sample.ticket is not None and len(batch.rows) > before:
            packet_id = sample.ticket.packet_id
            batch.came[len(batch.rows) - 1] = came_with(packet_id, batch.delivered[packet_id])
            self._doubt(series, sample, sample.ticket, batch)

    def _choose(self, offered: list[Row], batch: Batch) -> None:
        chosen = self._appender.choose(offered)
        self.counters.repeats += len(offered) - len(chosen)
        offered.clear()
        if self._steadiness is not None:
            chosen = list(map(self._steadiness.judged, chosen))
        batch.rows.extend(chosen)
        if self._calm is not None:
            batch.wait_s = min((batch.wait_s, *map(self._calm.wait_s, chosen)))
        if self._barometers is not None:
            batch.parts.extend(self._barometers.parts(chosen))

    def _doubt(self, series: int, sample: Sample, ticket: Ticket, batch: Batch) -> None:
        """The batch's last row came without a time of its own: may it be one that the broker had kept?"""
        mono = sample.arrival_mono
        before = self._doubted.pop(series, None)
        if (
            before is not None
            and before.ticket is not ticket
            and mono - max(before.mono, self._released_mono) >= BURST_GAP_S
        ):
            self._confirm(before, batch)
        if self._is_live(series, ticket, mono):
            return
        if mono - self._generation_mono >= BURST_S and (before is None or mono - before.mono >= GOING_ON_GAP_S):
            return
        place = len(batch.rows) - 1
        _, at_ms, number, quality = batch.rows[place]
        if quality & ~ESTIMATED not in (_GOOD, _CLOCK):
            return
        batch.rows[place] = (series, at_ms, number, _BACKLOG | (quality & ESTIMATED))
        rows = before.rows if before is not None and before.ticket is ticket else []
        self._doubted[series] = _Doubted(batch, [*rows, place], mono, ticket)

    def _is_live(self, series: int, ticket: Ticket, mono: float) -> bool:
        """Whether a number follows the one before as the probe sends them, on one connection."""
        before = self._newest_number.get(series)
        if before is not None and before[0] is ticket:
            return before[2]
        is_live = (
            self._paces is not None
            and before is not None
            and before[0].generation == ticket.generation
            and self._paces.is_live(series, mono - before[1])
        )
        self._newest_number[series] = (ticket, mono, is_live)
        return is_live

    def _is_babble(self, series: int, own_ms: int | None, number: float, sample: Sample) -> bool:
        """Whether a reading is one too many; it is refused then, and acknowledged as any other."""
        paces = self._paces
        if paces is None or (own_ms is not None and own_ms < sample.arrival_ms - LIVE_S * 1000):
            return False
        newest_ms = self._appender.newest_ms(series)
        silence_s = None if newest_ms is None else max(0.0, (sample.arrival_ms - newest_ms) / 1000)
        generation = 0 if sample.ticket is None else sample.ticket.generation
        if paces.takes(series, sample.arrival_mono, generation, silence_s):
            return False
        probe = paces.probe(series)
        self.babbling[probe] = self.babbling.get(probe, 0) + 1
        self._refuse(sample, probe, BABBLES, f"{number:g}")
        return True

    @staticmethod
    def _confirm(doubted: _Doubted, batch: Batch) -> None:
        """It was the newest for a while in which the broker could have sent another: it is good."""
        if doubted.batch is not batch:
            batch.confirmed += doubted.rows
            return
        for place in doubted.rows:
            series, at_ms, number, quality = batch.rows[place]
            batch.rows[place] = (series, at_ms, number, _CLOCK | ESTIMATED if quality & ESTIMATED else _GOOD)

    def _seen_before(self, sample: Sample, ticket: Ticket, batch: Batch) -> bool:
        digest = crc32(sample.payload, crc32(sample.address.encode()))
        known = batch.delivered.get(ticket.packet_id, self._delivered.get(ticket.packet_id))
        if sample.repeat and known == digest:
            return True
        batch.delivered[ticket.packet_id] = digest
        return False

    def _refuse(self, sample: Sample, probe: str, reason: str, found: str) -> None:
        if reason == RETAINED:
            self.retained[probe] = RetainedSample(found=found, at_ms=sample.arrival_ms)
        self.counters.refused += 1
        self.count(Reject(sample.source, sample.address, probe, reason, 1, sample.arrival_ms, sample.arrival_ms, found))

    def count(self, reject: Reject) -> None:
        """Add a refusal to those that the next pulse writes down."""
        key = reject[:4]
        known = self.rejects.get(key)
        if known is not None:
            reject = reject._replace(times=known.times + reject.times, first_ms=known.first_ms)
        self.rejects[key] = reject
