"""How long a reading may wait for others: what crosses a setpoint not at all, and nothing longer than `calm_commit`."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from a_store import NOW, declared, new_store
from brokers import Mosquitto
from cellar_text import KEG, SITE, cellar, limit, mqtt, probe, table, write_cellar
from eventually import eventually
from hypothesis import given
from hypothesis import strategies as st
from samples import a_binding, a_sample
from watch_limits import BAD, IN_DOUBT, SATURATED, UNCERTAIN, a_limit, a_silence

from alerts.watch import WatchReading
from alerts.watch.level import LevelTrack, judge
from ingest.cellar import EffectiveLimit, load_cellar
from ingest.daemon import IngestDaemon
from ingest.probes.decode import Decoder
from ingest.reading import Part, Quality, Reason, Scale, quality_code
from ingest.store import Store, open_existing
from ingest.store.readings.scales import add_part
from ingest.store.readings.series import declare
from ingest.writing.batch import Timing
from ingest.writing.calm import Calm, ranges
from ingest.writing.writer import SMALL_WINDOW, Writer

GOOD = 0
JUMP = quality_code(Quality.UNCERTAIN, Reason.JUMP)
COMMIT_S, CALM_S = 2.5, 15.0
SERIES = {"k1-pressure": 1}

LOW = a_limit(on_delay_s=0.0, off_delay_s=0.0)
HIGH = a_limit(key="K1/pressure/high", kind="high", setpoint=9.0, deadband=2.0, on_delay_s=0.0, off_delay_s=0.0)


def a_calm(*limits: EffectiveLimit, scale: Scale | None = None) -> Calm:
    calm = Calm(ranges(limits, SERIES), COMMIT_S, CALM_S)
    calm.scales = {} if scale is None else {1: [scale]}
    return calm


def waits(calm: Calm, *numbers: float, quality: int = GOOD) -> list[float]:
    return [calm.wait_s((1, NOW + place, number, quality)) for place, number in enumerate(numbers)]


def test_what_crosses_a_setpoint_or_the_end_of_a_deadband_does_not_wait() -> None:
    calm = a_calm(LOW, HIGH)
    assert waits(calm, 6.5) == [0.0]  # the first
    assert waits(calm, 6.5, 6.6) == [CALM_S, CALM_S]
    assert waits(calm, 4.9, 4.8) == [0.0, COMMIT_S]  # below the low setpoint, and still there
    assert waits(calm, 5.5, 5.6) == [0.0, CALM_S]  # in its deadband
    assert waits(calm, 6.1, 6.2) == [0.0, CALM_S]  # out of it
    assert waits(calm, 8.0, 9.0, 9.1, 9.2) == [0.0, 0.0, 0.0, COMMIT_S]


def test_what_changes_its_quality_or_jumps_does_not_wait() -> None:
    calm = a_calm(LOW)
    assert waits(calm, 7.0, 7.0) == [0.0, CALM_S]
    assert waits(calm, 7.0, 7.0, quality=BAD) == [0.0, COMMIT_S]
    assert waits(calm, 7.0, 7.0, quality=IN_DOUBT) == [0.0, COMMIT_S]
    assert waits(calm, 7.0, 7.0, quality=JUMP) == [0.0, 0.0]
    assert waits(calm, 7.0, 7.0) == [0.0, CALM_S]


def test_the_first_reading_after_a_silence_does_not_wait() -> None:
    calm = a_calm(a_silence(setpoint=120.0))
    assert calm.wait_s((1, NOW, 7.0, GOOD)) == 0.0
    assert calm.wait_s((1, NOW + 120_000, 7.0, GOOD)) == CALM_S
    assert calm.wait_s((1, NOW + 240_001, 7.0, GOOD)) == 0.0


@pytest.mark.parametrize(("silence_s", "longest_s"), [(120.0, CALM_S), (40.0, 10.0), (10.0, COMMIT_S), (1.0, COMMIT_S)])
def test_a_calm_reading_waits_a_quarter_of_the_silence_that_is_allowed(silence_s: float, longest_s: float) -> None:
    """Or a limit of ten seconds on silence would alarm while the reading waits to be written."""
    calm = a_calm(LOW, a_silence(setpoint=silence_s))
    assert waits(calm, 7.0, 7.0) == [0.0, longest_s]


def test_a_calibration_moves_what_is_calm() -> None:
    calm = a_calm(LOW, scale=Scale(0, 0.1, 0.0, "mbar"))
    assert waits(calm, 70.0, 70.0, 49.0) == [0.0, CALM_S, 0.0]
    calm.scales = {1: [Scale(0, 0.1, 1.0, "mbar")]}
    assert waits(calm, 62.0, 62.0, 41.0, 39.0) == [0.0, CALM_S, 0.0, 0.0]


def test_every_limit_of_a_cellar_file_has_its_edges() -> None:
    texts = limit(at="K1", quantity="pressure", high="50 kPa", deadband="4 kPa", consequence="a", action="b")
    read = cellar(SITE, mqtt(), KEG, probe(), texts)
    of_series = ranges(read.limits, {"k1-pressure": 7})
    # The default limits care (20 kPa, 3) and air (5 kPa, 1) for the low side, and over (180 kPa, 4).
    assert of_series[7].edges == (5.0, 6.0, 20.0, 23.0, 46.0, 50.0, 176.0, 180.0)
    assert (of_series[7].low, of_series[7].high, of_series[7].silence_s) == (20.0, 50.0, 180.0)


# Few values, so that equality with an edge comes often.
VALUES = st.integers(-4, 24).map(lambda half: half / 2)
QUALITIES = st.sampled_from([GOOD, GOOD, GOOD, GOOD, BAD, UNCERTAIN, SATURATED, JUMP])
LIMITS = st.lists(
    st.builds(
        lambda kind, setpoint, deadband, place: a_limit(
            key=f"limit {place}", kind=kind, setpoint=setpoint, deadband=deadband, on_delay_s=0.0, off_delay_s=0.0
        ),
        st.sampled_from(["low", "high"]),
        VALUES,
        st.integers(0, 6).map(lambda half: half / 2),
        st.integers(0, 10**6),
    ),
    max_size=4,
)


@given(limits=LIMITS, readings=st.lists(st.tuples(VALUES, QUALITIES), max_size=30), gain=st.sampled_from([1.0, -0.5]))
def test_a_reading_that_crosses_a_setpoint_or_changes_a_condition_never_waits(
    limits: Sequence[EffectiveLimit], readings: Sequence[tuple[float, int]], gain: float
) -> None:
    calm = a_calm(*limits, scale=Scale(0, gain, 2.0, "kPa"))
    tracks = [LevelTrack() for _ in limits]
    before: float | None = None
    for place, (value, quality) in enumerate(readings):
        wait_s = calm.wait_s((1, NOW + place, (value - 2.0) / gain, quality))
        assert 0.0 <= wait_s <= CALM_S
        crossed = before is not None and any(
            (value > limit.setpoint, value < limit.setpoint) != (before > limit.setpoint, before < limit.setpoint)
            for limit in limits
        )
        changed = False
        for index, watched in enumerate(limits):
            reading = WatchReading("k1-pressure", NOW + place, value, quality)
            tracks[index], changes = judge(tracks[index], watched, [reading], fresh_s=120.0, mono=float(place))
            changed |= bool(changes)
        if crossed or changed:
            assert wait_s == 0.0
        before = value


# ---- the writer ----------------------------------------------------------------------------------------------------


class Desk:
    """A writer over a real store, on a clock that is set by hand."""

    def __init__(self, folder: Path) -> None:
        self.store: Store = new_store(folder)
        declare(self.store, [declared(gain=1.0)], NOW)
        self.mono = 500.0
        self.acknowledged: list[int] = []
        self.calm = a_calm(LOW)
        self.writer = Writer(
            self.store,
            Decoder([a_binding()]),
            lambda tickets: self.acknowledged.extend(ticket.packet_id for ticket in tickets),
            lambda: 1000,
            calm=self.calm,
            monotonic=lambda: self.mono,
        )
        self.packets = 0
        # The connection came about long ago, so that no number is taken for one that the broker had kept.
        self.offer("7", arrival_mono=400.0)
        assert self.writer.turn(NOW)

    def offer(self, text: str, **changes: Any) -> None:
        self.packets += 1
        at_ms = NOW + round((self.mono - 500.0) * 1000)
        sample = a_sample(text, packet=self.packets, **{"arrival_ms": at_ms, "arrival_mono": self.mono, **changes})
        self.writer.offer(sample)
        self.writer.gather(Timing())

    def numbers(self) -> list[float]:
        return [row[0] for row in self.store.connection.execute("SELECT number FROM fresh ORDER BY id")]


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


def test_what_is_gathered_is_neither_on_disk_nor_acknowledged(desk: Desk) -> None:
    desk.offer("8")
    assert (desk.numbers(), desk.acknowledged, desk.writer.waiting) == ([7.0], [1], 1)
    # The connection breaks, and the broker sends it again.
    desk.writer.offer(a_sample("8", packet=desk.packets, repeat=True, arrival_mono=desk.mono))
    desk.offer("4")
    assert desk.writer.turn(NOW)
    assert (desk.numbers(), desk.acknowledged) == ([7.0, 8.0, 4.0], [1, 2, 2, 3])
    assert desk.writer.due_mono == float("inf")


def test_one_that_cannot_wait_takes_all_with_it(desk: Desk) -> None:
    desk.offer("8")
    assert desk.writer.due_mono == desk.mono + CALM_S
    desk.mono += 6
    desk.offer("4")
    assert desk.writer.due_mono == desk.mono
    assert desk.writer.turn(NOW)
    desk.offer("3")
    assert desk.writer.due_mono == desk.mono + COMMIT_S


def test_a_calibration_that_was_entered_meanwhile_counts(desk: Desk) -> None:
    with desk.store.write() as connection:
        add_part(connection, 1, Part(0, "calibration", 1.0, -2.0, "kPa", "ice water"), NOW)
    desk.offer("7")
    assert desk.writer.due_mono == desk.mono  # 5 kPa now, where it was 7


def test_a_commit_that_fails_calls_for_none_at_once_and_takes_nothing_more(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.store.connection.execute("PRAGMA query_only=1")
    desk.offer("4")
    assert not desk.writer.turn(NOW)
    desk.offer("3")
    assert desk.writer.due_mono == float("inf")
    desk.store.connection.execute("PRAGMA query_only=0")
    assert desk.writer.turn(NOW)
    # What came after the batch that failed is gathered next.
    assert (desk.numbers(), desk.writer.arrived.is_set()) == ([7.0, 4.0], True)
    desk.writer.gather(Timing())
    assert desk.writer.due_mono == desk.mono + COMMIT_S


def test_a_broker_that_waits_for_an_answer_is_not_kept_waiting(desk: Desk) -> None:
    """A broker with a small window sends nothing more, not even a breach, until it is answered."""
    for _ in range(SMALL_WINDOW):
        desk.mono += 0.1
        desk.offer("8")
    assert desk.writer.due_mono == pytest.approx(desk.mono + COMMIT_S)
    desk.mono += 1
    desk.offer("8")
    assert desk.writer.due_mono == pytest.approx(desk.mono + COMMIT_S)


@given(steps=st.lists(st.tuples(st.floats(0.01, 20.0), st.integers(0, 20)), max_size=25))
def test_no_reading_waits_longer_than_it_may(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[float, int]]
) -> None:
    desk = Desk(tmp_path_factory.mktemp("desk"))
    waiting: list[float] = []
    for gap_s, half in steps:
        desk.mono += gap_s
        if desk.mono >= desk.writer.due_mono:
            assert desk.writer.turn(NOW)
            waiting.clear()
        desk.offer(str(half / 2))
        waiting.append(desk.mono)
        assert desk.writer.due_mono <= min(waiting) + CALM_S
        if half / 2 < LOW.setpoint:
            assert desk.writer.due_mono <= desk.mono + COMMIT_S
    desk.store.close()


# ---- the daemon ----------------------------------------------------------------------------------------------------


def test_a_breach_is_on_disk_soon_however_long_calm_readings_may_wait(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.daemon.PULSE_S", 3600.0)
    box = probe(payload="json", pointer="/kPa", time_pointer="/at", every="600 s")
    with Mosquitto(tmp_path) as broker:
        keeping = table("[store]", path="cellar.db", commit="60 s", calm_commit="60 s")
        file = write_cellar(tmp_path, SITE, keeping, mqtt(broker.port, client_id="leeside-test"), KEG, box)
        daemon = IngestDaemon(load_cellar(file), {})
        daemon.start()
        thread = threading.Thread(target=daemon.run)
        thread.start()
        try:
            with open_existing(tmp_path / "cellar.db") as store:

                def numbers() -> list[float]:
                    return [row[0] for row in store.connection.execute("SELECT number FROM fresh ORDER BY id")]

                def publish(second: int, number: float) -> None:
                    broker.publish("k1/p", f'{{"kPa": {number}, "at": {NOW // 1000 + second}}}')

                def first_is_stored() -> bool:
                    publish(0, 50.0)
                    return bool(numbers())

                # Published until it arrives: the subscription may still be under way.
                eventually(first_is_stored)
                # Both calm ones are taken from the broker, and written with the first that is not.
                publish(1, 51.0)
                publish(2, 52.0)
                eventually(lambda: daemon._writer.waiting == 2)
                assert numbers() == [50.0]
                publish(3, 4.0)
                eventually(lambda: numbers() == [50.0, 51.0, 52.0, 4.0])
        finally:
            daemon.stop_event.set()
            thread.join(10)
            daemon.stop()
