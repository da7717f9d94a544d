"""From samples to a batch: what the broker had kept, repeats, times under a clock that is wrong."""

from __future__ import annotations

import pytest
from a_store import NOW, declared
from samples import a_binding, a_json_binding, a_sample

from ingest.cellar import Dimension
from ingest.probes.decode import Decoded, Decoder
from ingest.probes.steadiness import Steadiness
from ingest.pulse import RetainedSample
from ingest.reading import ESTIMATED, Quality, Reason, quality_class, quality_code, quality_reason
from ingest.sources.sample import Sample, Ticket
from ingest.store import Store
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.writing.batch import Batch, BatchBuilder, Timing
from ingest.writing.board_clock import ClockState


@pytest.fixture
def store(store: Store) -> Store:
    declare(store, [declared()], NOW)
    return store


@pytest.fixture
def builder(store: Store) -> BatchBuilder:
    return BatchBuilder(Decoder([a_binding(series=1)]), Appender(store))


def sample(payload: bytes, arrival_s: float, *, generation: int = 1, packet: int = 1, **changes: object) -> Sample:
    base = a_sample(payload, a_binding().address)
    return base._replace(
        arrival_ms=NOW + round(arrival_s * 1000),
        arrival_mono=1000.0 + arrival_s,
        ticket=Ticket(generation, packet, 1),
        **changes,  # type: ignore[arg-type]  # fields of the sample
    )


def reasons(builder: BatchBuilder, samples: list[Sample], timing: Timing = Timing()) -> list[Reason]:  # noqa: B008  constants
    return [quality_reason(row[3]) for row in builder.build(samples, timing).rows]


def connected_long_ago(builder: BatchBuilder) -> BatchBuilder:
    builder.build([sample(b"x", -60.0)], Timing())
    return builder


def settled(builder: BatchBuilder, after_s: float) -> list[int]:
    """Which rows on disk are found to have been the newest, that long after the first sample."""
    batch = Batch()
    builder.settle(batch, 1000.0 + after_s)
    return batch.confirmed


def test_of_bare_numbers_that_the_broker_had_kept_only_the_newest_counts(builder: BatchBuilder) -> None:
    batch = builder.build([sample(b"12.0", 0.001 * index, packet=index + 1) for index in range(5)], Timing())
    assert [quality_reason(row[3]) for row in batch.rows] == [Reason.BACKLOG] * 5
    builder.acknowledged(batch, 101, 1000.1)
    assert settled(builder, 0.59) == []
    assert settled(builder, 0.6) == [105]
    assert not builder.doubts
    # Long after the connection came about a batch is just a batch: a probe may be quick.
    later = [sample(b"12.0", 60 + 0.2 * index, packet=index + 10) for index in range(4)]
    assert reasons(builder, later) == [Reason.NONE] * 4
    again = [sample(b"12.0", 100 + 0.001 * index, generation=2, packet=index + 20) for index in range(3)]
    assert reasons(builder, again) == [Reason.BACKLOG] * 3


def test_a_backlog_that_comes_a_window_at_a_time_has_one_newest(builder: BatchBuilder) -> None:
    """Each commit takes a second, and the broker says nothing more until it has acknowledgements."""
    for window in range(3):
        kept = [sample(b"12.0", 1.01 * window + 0.001 * index, packet=index + 1) for index in range(4)]
        batch = builder.build(kept, Timing())
        assert [quality_reason(row[3]) for row in batch.rows] == [Reason.BACKLOG] * 4
        assert batch.confirmed == []
        builder.acknowledged(batch, 101 + 4 * window, 1001.0 + 1.01 * window)
    assert settled(builder, 10.0) == [112]


def test_a_long_backlog_goes_on_beyond_the_first_half_minute(builder: BatchBuilder) -> None:
    kept = [sample(b"12.0", 0.09 * index, packet=index + 1) for index in range(500)]
    assert reasons(builder, kept) == [Reason.BACKLOG] * 500
    assert reasons(builder, [sample(b"12.0", 0.09 * 500 + 0.1)]) == [Reason.NONE]


def test_numbers_that_come_at_a_probe_s_own_pace_are_good(builder: BatchBuilder) -> None:
    live = [sample(b"12.0", float(index), packet=index + 1) for index in range(3)]
    batch = builder.build(live, Timing())
    assert [quality_reason(row[3]) for row in batch.rows] == [Reason.NONE, Reason.NONE, Reason.BACKLOG]
    builder.acknowledged(batch, 101, 1002.1)
    batch = builder.build([sample(b"12.0", 3.0, packet=4)], Timing())
    assert batch.confirmed == [103]


def test_both_records_of_the_newest_pack_count(store: Store) -> None:
    binding = a_binding(form="senml", name="p", dimension=Dimension.PRESSURE, unit="kPa")
    builder = BatchBuilder(Decoder([binding]), Appender(store))
    pack = b'[{"n":"p","v":1,"t":-5},{"n":"p","v":2}]'
    batch = builder.build([sample(pack, 0.0), sample(pack, 0.1, packet=2)], Timing())
    assert [quality_reason(row[3]) for row in batch.rows] == [Reason.BACKLOG] * 4
    builder.acknowledged(batch, 101, 1000.2)
    assert settled(builder, 1.0) == [103, 104]


def test_a_mistake_of_ours_in_one_sample_does_not_hold_up_the_others(store: Store) -> None:
    class Stumbling(Decoder):
        def decode(self, sample: Sample) -> Decoded:
            if sample.payload == b"13":
                raise OverflowError("cannot convert float infinity to integer")
            return super().decode(sample)

    builder = BatchBuilder(Stumbling([a_binding(series=1)]), Appender(store))
    batch = builder.build(
        [sample(text, 0.0, packet=index) for index, text in enumerate((b"12", b"13", b"14"))], Timing()
    )
    assert [row[2] for row in batch.rows] == [12.0, 14.0]
    assert len(batch.tickets) == 3
    (reject,) = builder.rejects.values()
    assert (reject.reason, reject.address) == ("leeside stumbled over it", "k1/p")
    assert reject.example == "OverflowError: OverflowError('cannot convert float infinity to integer')"


def test_a_packet_id_from_long_ago_makes_no_repeat(builder: BatchBuilder, monkeypatch: pytest.MonkeyPatch) -> None:
    """The broker has counted its ids round; the first try of an equal number got lost with its connection."""
    monkeypatch.setattr("ingest.writing.batch.REMEMBERED_IDS", 10)
    for packet in range(1, 31):
        builder.committed(builder.build([sample(b"12.0", packet * 60.0, packet=packet)], Timing()))
    again = [sample(b"12.0", 3600.0, packet=packet, repeat=True) for packet in (1, 30)]
    assert len(builder.build(again, Timing()).rows) == 1


def test_every_ticket_of_a_backlog_comes_back_in_order(builder: BatchBuilder) -> None:
    kept = [sample(b"12.0", 0.001 * index, packet=index + 1) for index in range(5)]
    batch = builder.build(kept, Timing())
    assert [ticket.packet_id for ticket in batch.tickets] == [1, 2, 3, 4, 5]
    assert [row[1] for row in batch.rows] == sorted({row[1] for row in batch.rows})


def test_kept_numbers_with_their_own_times_are_no_backlog(store: Store) -> None:
    binding = a_json_binding("/kPa", time_pointer="/at", series=1)
    builder = BatchBuilder(Decoder([binding]), Appender(store))
    kept = [
        sample(b'{"kPa": 50, "at": %d}' % (NOW // 1000 - 60 + index), 0.001 * index, packet=index + 1)._replace(
            address=binding.address
        )
        for index in range(5)
    ]
    batch = builder.build(kept, Timing())
    assert [quality_reason(row[3]) for row in batch.rows] == [Reason.NONE] * 5


def test_a_retained_number_is_shown_and_not_stored(builder: BatchBuilder) -> None:
    batch = builder.build([sample(b"12.5", 0.0, retained=True)], Timing())
    assert batch.rows == []
    assert len(batch.tickets) == 1
    assert builder.retained == {"k1-pressure": RetainedSample(found="12.5", at_ms=NOW)}
    assert [reject.reason for reject in builder.rejects.values()] == ["retained without a time of its own"]


def test_under_an_unknown_clock_times_are_estimated_and_say_so(builder: BatchBuilder) -> None:
    timing = Timing(ClockState.UNKNOWN, offset_ms=NOW + 86_400_000 - 1_000_000)
    batch = connected_long_ago(builder).build([sample(b"12.5", 5.0)], timing)
    assert batch.estimated
    assert batch.rows == [(1, NOW + 86_400_000 + 5000, 12.5, quality_code(Quality.UNCERTAIN, Reason.CLOCK) + ESTIMATED)]


def test_what_waited_under_a_wrong_clock_is_dated_by_the_monotonic_one(builder: BatchBuilder) -> None:
    """Two samples came while the clock stood in the year 2000, one after it was set."""
    wrong = sample(b"12.5", 0.0)._replace(arrival_ms=946_684_800_000)
    right = sample(b"12.6", 10.0, packet=2)
    timing = Timing(ClockState.RIGHT, offset_ms=NOW - 1_000_000, trusted_mono=1005.0)
    batch = builder.build([wrong, right], timing)
    assert [row[1] for row in batch.rows] == [NOW, NOW + 10_000]


def test_an_own_time_is_not_of_the_future_while_nobody_knows_the_time(store: Store) -> None:
    binding = a_json_binding("/kPa", time_pointer="/at", series=1)
    builder = BatchBuilder(Decoder([binding]), Appender(store))
    ahead = sample(b'{"kPa": 50, "at": %d}' % (NOW // 1000 + 864_000), 0.0)._replace(address=binding.address)
    unknown = builder.build([ahead], Timing(ClockState.UNKNOWN, offset_ms=0.0))
    assert [row[1] for row in unknown.rows] == [NOW + 864_000_000]
    assert builder.build([ahead], Timing()).rows == []
    assert builder.counters.refused == 1


def test_jumps_are_doubted_on_the_way_in(store: Store) -> None:
    builder = BatchBuilder(Decoder([a_binding(series=1)]), Appender(store), Steadiness({1: 5.0}))
    samples = [sample(payload, index * 40.0, packet=index + 1) for index, payload in enumerate((b"12", b"85", b"12.1"))]
    assert reasons(connected_long_ago(builder), samples) == [Reason.NONE, Reason.JUMP, Reason.NONE]


def test_a_bad_reading_of_a_backlog_stays_bad(store: Store) -> None:
    builder = BatchBuilder(Decoder([a_binding(series=1, low=0.0, high=100.0)]), Appender(store))
    kept = [sample(payload, 0.001 * index, packet=index + 1) for index, payload in enumerate((b"500", b"12", b"13"))]
    batch = builder.build(kept, Timing())
    assert [quality_class(row[3]) for row in batch.rows] == [Quality.BAD, Quality.UNCERTAIN, Quality.UNCERTAIN]
    bad = builder.build([sample(b"500", 0.01, packet=9)], Timing())
    builder.acknowledged(batch, 101, 1000.1)
    builder.acknowledged(bad, 104, 1000.1)
    # The newest is bad, so none says how things are.
    assert settled(builder, 10.0) == []
