"""How often probes read: what is too much, what is a backlog, and what is new although the connection is."""

from __future__ import annotations

import pytest
from a_store import NOW, declared
from cellar_text import MQTT, SITE, cellar, keg, temperature
from samples import a_binding, a_sample

from ingest.probes.decode import Decoder
from ingest.reading import Quality, quality_class
from ingest.sources.sample import Sample, Ticket
from ingest.store import Store
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.writing.batch import Batch, BatchBuilder, Timing
from ingest.writing.pace import BABBLES, ProbePaces

PROBES = [f"t{number}" for number in range(10)]


def builder_of(store: Store, every: str) -> BatchBuilder:
    """Ten probes that read so often."""
    probes = (temperature(probe, "K1", topic=f"{probe}/t", mounted="wall", every=every) for probe in PROBES)
    file = cellar(SITE, MQTT, keg(), *probes)
    series = declare(store, [declared(probe=probe) for probe in PROBES], NOW)
    bindings = [a_binding(probe=probe, series=series[probe], address=f"{probe}/t") for probe in PROBES]
    return BatchBuilder(Decoder(bindings), Appender(store), paces=ProbePaces(file.probe, series))


@pytest.fixture
def builder(store: Store) -> BatchBuilder:
    return builder_of(store, "2 s")


def number(probe: int, at_s: float, *, connection: int = 1, packet: int = 1, payload: str = "12.0") -> Sample:
    return a_sample(payload, f"t{probe}/t")._replace(
        arrival_ms=NOW + round(at_s * 1000), arrival_mono=1000.0 + at_s, ticket=Ticket(connection, packet, 1)
    )


def flood(seconds: float, a_second: int, *, connection: int = 1, start_s: float = 0.0) -> list[Sample]:
    count = round(seconds * a_second)
    return [
        number(0, start_s + each / a_second, connection=connection, packet=each % 60_000 + 1) for each in range(count)
    ]


def calm_start(builder: BatchBuilder) -> None:
    builder.build([number(0, -1.0)], Timing())


def test_a_babbler_is_cut_and_counted_and_its_stamps_stay_with_the_clock(builder: BatchBuilder) -> None:
    calm_start(builder)
    samples = flood(20.0, 2000)
    batch = builder.build(samples, Timing())
    # Two hundred at once, ten a second after that (twenty within its two seconds), and what the second before allows.
    assert 390 <= len(batch.rows) <= 430
    assert len(batch.tickets) == len(samples), "what is too much is acknowledged all the same"
    assert max(at_ms for _, at_ms, _, _ in batch.rows) <= samples[-1].arrival_ms + 1000
    (reject,) = builder.rejects.values()
    assert (reject.probe, reject.reason, reject.times) == ("t0", BABBLES, len(samples) - len(batch.rows))
    assert builder.babbling == {"t0": reject.times}


def test_other_probes_are_not_cut(builder: BatchBuilder) -> None:
    calm_start(builder)
    batch = builder.build([*flood(20.0, 500), number(1, 20.0), number(2, 20.0)], Timing())
    assert [row[0] for row in batch.rows[-2:]] == [2, 3]
    assert set(builder.babbling) == {"t0"}


def test_a_backlog_of_bare_numbers_is_not_cut(builder: BatchBuilder) -> None:
    """After an hour of silence 9,000 numbers come at once: more than declared, fewer than would be babble."""
    calm_start(builder)
    batch = builder.build(flood(1.0, 9000, connection=2, start_s=3600.0), Timing())
    assert len(batch.rows) == 9000
    assert not builder.babbling


def test_what_a_long_silence_allows_ends_with_the_backlog(builder: BatchBuilder) -> None:
    calm_start(builder)
    builder.build(flood(1.0, 100, connection=2, start_s=3600.0), Timing())
    batch = builder.build(flood(10.0, 1000, connection=2, start_s=3610.0), Timing())
    assert len(batch.rows) < 400


def test_stamps_follow_the_newest_reading_by_a_second_at_most(store: Store) -> None:
    (series,) = declare(store, [declared()], NOW).values()
    appender = Appender(store)
    appender.choose([(series, NOW + 900, 1.0, 0)])
    assert appender.stamp(series, NOW) == NOW + 901
    appender.choose([(series, NOW + 300_000, 1.0, 0), (series, NOW + 1000, 1.0, 0)])
    assert appender.stamp(series, NOW + 900) == NOW + 901
    assert appender.stamp(series, NOW + 1000) == NOW + 1001


def test_a_flapping_connection_holds_up_no_number(builder: BatchBuilder) -> None:
    """Ten probes every two seconds, and a connection that is cut every twenty: each number is good within 5 s."""
    rows: dict[int, float] = {}  # id of a row that is in doubt -> when it came
    latest_s, newest_id, packet = 0.0, 0, 0
    # The first connection brings what the broker had kept meanwhile; what counts is what comes after that.
    for turn in range(400):
        now_s = turn * 0.5
        connection = 1 + int(now_s // 20)
        samples = []
        if now_s % 20 >= 2:  # away for two seconds
            due = [probe for probe in range(10) if turn % 4 == probe % 4] if now_s % 20 > 2 else list(range(10))
            for probe in due:
                packet += 1
                samples.append(number(probe, now_s, connection=connection, packet=packet))
        batch = builder.build(samples, Timing())
        builder.settle(batch, 1000.0 + now_s + 0.01)
        for row in batch.confirmed:
            latest_s = max(latest_s, now_s - rows.pop(row))
        builder.committed(batch)
        first_id = newest_id + 1
        for place, (_, _, _, quality) in enumerate(batch.rows):
            if quality_class(quality) is not Quality.GOOD:
                rows[first_id + place] = now_s
        newest_id += len(batch.rows)
        builder.acknowledged(batch, first_id, 1000.0 + now_s + 0.02)
    assert latest_s <= 5.0
    # In doubt stay only the first numbers after a connection, each followed by a good one two seconds later.
    assert len(rows) <= 10 * 10


def test_a_slow_backlog_is_still_in_doubt(store: Store) -> None:
    """Twenty messages a second where one is sent: what the broker had kept, over a slow link."""
    builder = builder_of(store, "10 s")
    found: list[int] = []
    for turn in range(20):
        now_s = turn * 0.5
        samples = [number(probe, now_s, packet=turn * 10 + probe + 1) for probe in range(10)]
        batch = builder.build(samples, Timing())
        builder.settle(batch, 1000.0 + now_s + 0.3)
        found += batch.confirmed
        builder.acknowledged(batch, turn * 10 + 1, 1000.0 + now_s + 0.02)
    assert not found
    last = Batch()
    builder.settle(last, 1000.0 + 10.5)
    assert len(last.confirmed) == 10
