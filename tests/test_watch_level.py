"""One low or high limit: delays, deadband, quality, late readings."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import BAD, CLOCK, IMPORTED, IN_DOUBT, SATURATED, UNCERTAIN, a_limit

from alerts.watch import WatchReading
from alerts.watch.level import LevelTrack, judge, tick
from ingest.cellar import EffectiveLimit

FRESH_S = 120.0


@dataclass
class Track:
    """A track fed by hand. Own time runs an hour behind the board's, to show that it does not matter."""

    limit: EffectiveLimit
    track: LevelTrack = field(default_factory=LevelTrack)

    def read(self, second: float, value: float, quality: int = 0, seen: float | None = None) -> bool:
        reading = WatchReading("k1-pressure", round((second - 3600) * 1000), value, quality)
        mono = second if seen is None else seen
        self.track, _ = judge(self.track, self.limit, [reading], fresh_s=FRESH_S, mono=mono)
        return self.track.active

    def tick(self, second: float) -> bool:
        self.track, _ = tick(self.track, self.limit, fresh_s=FRESH_S, mono=second)
        return self.track.active


@pytest.mark.parametrize(("kind", "inside", "beyond", "back"), [("low", 20.0, 3.0, 6.5), ("high", 2.0, 9.0, 3.5)])
def test_a_limit_begins_after_its_on_delay_and_ends_after_its_off_delay(
    kind: str, inside: float, beyond: float, back: float
) -> None:
    it = Track(a_limit(kind=kind))
    assert [it.read(0, inside), it.read(10, beyond), it.read(69.9, beyond), it.read(70, beyond)] == [0, 0, 0, 1]
    assert it.track.since_ms == (10 - 3600) * 1000
    assert [it.read(100, back), it.read(129.9, back), it.read(130, back)] == [1, 1, 0]
    assert it.track.since_ms == (100 - 3600) * 1000


def test_a_number_that_the_broker_may_have_kept_neither_begins_nor_breaks_a_delay() -> None:
    """A connection that breaks every twenty seconds brings such a number each time; the delay of 60 s runs on."""
    it = Track(a_limit())
    assert not it.read(0, 3.0)
    for second in range(20, 60, 20):
        # In doubt at first, inside or beyond; found to be the newest, it comes again as a good one.
        assert not it.read(second, 30.0, IN_DOUBT)
        assert not it.read(second, 3.0, IN_DOUBT)
        assert not it.read(second, 3.0)
    assert it.tick(60)
    alone = Track(a_limit())
    assert [alone.read(0, 3.0, IN_DOUBT), alone.tick(100)] == [0, 0]


@pytest.mark.parametrize(("kind", "edge", "back"), [("low", 5.0, 6.0), ("high", 5.0, 4.0)])
def test_equality_neither_begins_nor_ends(kind: str, edge: float, back: float) -> None:
    it = Track(a_limit(kind=kind, on_delay_s=0.0, off_delay_s=0.0))
    assert not it.read(0, edge)
    assert it.read(1, 4.9 if kind == "low" else 5.1)
    assert it.read(2, back)
    assert not it.read(3, 6.1 if kind == "low" else 3.9)


def test_a_good_reading_inside_restarts_the_on_delay() -> None:
    it = Track(a_limit())
    assert [it.read(0, 3), it.read(50, 5.0), it.read(55, 3), it.read(114, 3), it.read(115, 3)] == [0, 0, 0, 0, 1]


def test_a_good_reading_within_the_deadband_restarts_the_off_delay() -> None:
    it = Track(a_limit(on_delay_s=0.0))
    assert [it.read(0, 3), it.read(10, 7), it.read(30, 6.0), it.read(41, 7), it.read(71, 7)] == [1, 1, 1, 1, 0]


@pytest.mark.parametrize(("value", "quality"), [(3.0, BAD), (3.0, UNCERTAIN), (float("nan"), 0), (float("inf"), 0)])
def test_a_doubtful_reading_holds_the_state_and_restarts_both_delays(value: float, quality: int) -> None:
    it = Track(a_limit())
    assert [it.read(0, 3), it.read(50, value, quality), it.read(60, 3), it.read(119, 3), it.read(120, 3)][-2:] == [0, 1]
    assert [it.read(130, 9), it.read(150, value, quality), it.read(161, 9), it.read(190, 9), it.read(191, 9)] == [
        1,
        1,
        1,
        1,
        0,
    ]


def test_a_doubtful_reading_alone_never_begins_or_ends() -> None:
    it = Track(a_limit(on_delay_s=0.0, off_delay_s=0.0))
    assert not it.read(0, 1, BAD)
    assert it.read(1, 1)
    assert it.read(2, 50, BAD)
    assert it.read(3, 50, UNCERTAIN)


def test_a_reading_whose_only_fault_is_the_boards_clock_is_judged() -> None:
    assert Track(a_limit(on_delay_s=0.0)).read(0, 1, CLOCK)


@pytest.mark.parametrize(("kind", "beyond", "inside"), [("high", 5.1, 4.9), ("low", 4.9, 5.1)])
def test_a_saturated_reading_beyond_the_setpoint_counts_as_beyond_it(kind: str, beyond: float, inside: float) -> None:
    it = Track(a_limit(kind=kind, deadband=0.0))
    assert not it.read(0, inside, SATURATED)
    assert [it.read(10, beyond, SATURATED), it.read(69.9, beyond, SATURATED)] == [False, False]
    assert it.read(70, beyond, SATURATED)
    assert (it.track.since_ms, it.track.extreme) == ((10 - 3600) * 1000, beyond)


def test_a_saturated_reading_on_the_safe_side_ends_nothing() -> None:
    it = Track(a_limit(kind="high", on_delay_s=0.0, off_delay_s=30.0))
    assert it.read(0, 9, SATURATED)
    assert [it.read(10, 1, SATURATED), it.read(50, 1, SATURATED), it.read(51, 1), it.read(80, 1)] == [1, 1, 1, 1]
    assert [it.read(81, 9, SATURATED), it.read(82, 1), it.read(111, 1), it.read(112, 1)] == [1, 1, 1, 0]


def test_late_and_imported_readings_are_not_judged() -> None:
    it = Track(a_limit(on_delay_s=0.0, off_delay_s=0.0))
    it.read(100, 20)
    assert not it.read(99, 1)
    assert not it.read(101, 1, IMPORTED)
    assert it.read(100.5, 1), "the imported one did not become the newest"
    assert it.read(100.4, 20), "a late one ends nothing"


def test_a_tick_lets_the_delay_run_out_between_readings() -> None:
    it = Track(a_limit())
    it.read(0, 3)
    assert [it.tick(59.9), it.tick(60)] == [False, True]
    assert it.track.since_ms == -3600 * 1000
    it.read(70, 9)
    assert [it.tick(99.9), it.tick(100)] == [True, False]


def test_a_tick_does_nothing_once_the_newest_reading_is_stale() -> None:
    it = Track(a_limit(on_delay_s=300.0, off_delay_s=300.0))
    it.read(0, 3)
    it.read(100, 3)
    assert not it.tick(300), "the newest reading is 200 s old, the probe's no-data time is 120 s"
    it.read(301, 3)
    assert not it.tick(400), "the silence before restarted the delay"
    it.read(410, 3)
    it.read(520, 3)
    assert [it.tick(600), it.tick(601)] == [False, True]
    assert it.read(610, 20)
    assert it.tick(1200), "missing data never ends a condition"


def test_a_backlog_is_judged_by_its_own_time_though_it_came_at_once() -> None:
    limit = a_limit()
    backlog = [
        WatchReading("k1-pressure", second * 1000, value)
        for second, value in [(0, 3), (30, 3), (60, 2), (70, 9), (101, 9)]
    ]
    track, changes = judge(LevelTrack(), limit, backlog, fresh_s=FRESH_S, mono=5000.0)
    assert [(change.active, change.since_ms, change.value) for change in changes] == [(True, 0, 2), (False, 70_000, 9)]
    assert changes[1].extreme == 2
    assert not track.active


# ---- against a model that keeps every reading and looks back over the list each time


@dataclass
class ListModel:
    """Judges by looking back over all readings since the last change, with no running state but active."""

    limit: EffectiveLimit
    active: bool = False
    run: list[tuple[float, float]] = field(default_factory=list)  # (own time, seen) of the unbroken run, oldest first
    seen: list[tuple[float, float]] = field(default_factory=list)  # (own time, seen) of every reading that is not late

    def _shows(self, value: float) -> bool:
        limit = self.limit
        if limit.kind == "high":
            return value < limit.setpoint - limit.deadband if self.active else value > limit.setpoint
        return value > limit.setpoint + limit.deadband if self.active else value < limit.setpoint

    def _delay(self) -> float:
        return self.limit.off_delay_s if self.active else self.limit.on_delay_s

    def read(self, own: float, seen: float, value: float, quality: int) -> None:
        if quality == IMPORTED or any(own < earlier for earlier, _ in self.seen):
            return
        broken = bool(self.seen) and own - self.seen[-1][0] > FRESH_S
        self.seen.append((own, seen))
        if broken or quality != 0 or not self._shows(value):
            self.run = []
        if quality == 0 and self._shows(value):
            self.run.append((own, seen))
            if own - self.run[0][0] >= self._delay():
                self.active, self.run = not self.active, []

    def tick(self, mono: float) -> None:
        if self.run and mono - self.seen[-1][1] <= FRESH_S and mono - self.run[0][1] >= self._delay():
            self.active, self.run = not self.active, []


steps = st.lists(
    st.tuples(
        st.integers(0, 150),  # seconds of board time since the step before
        st.sampled_from([0, 0, 0, 0, 0, 0, 7, -400]),  # how far the probe's stamp is off this time
        st.sampled_from([2.0, 4.0, 5.0, 6.0, 8.0]),
        st.sampled_from([0, 0, 0, 0, 0, BAD, UNCERTAIN, IMPORTED]),
        st.booleans(),
    ),
    max_size=40,
)


@given(
    steps=steps,
    kind=st.sampled_from(["low", "high"]),
    on_delay=st.sampled_from([0.0, 30.0, 90.0]),
    off_delay=st.sampled_from([0.0, 45.0]),
)
def test_the_track_agrees_with_the_list_model(
    steps: list[tuple[int, int, float, int, bool]], kind: str, on_delay: float, off_delay: float
) -> None:
    limit = a_limit(kind=kind, on_delay_s=on_delay, off_delay_s=off_delay)
    model, track, second = ListModel(limit), LevelTrack(), 0
    for pause, stamp_error, value, quality, is_tick in steps:
        second += pause
        if is_tick:
            model.tick(second)
            track, _ = tick(track, limit, fresh_s=FRESH_S, mono=second)
        else:
            own = second + stamp_error
            model.read(own, second, value, quality)
            reading = WatchReading("k1-pressure", own * 1000, value, quality)
            track, _ = judge(track, limit, [reading], fresh_s=FRESH_S, mono=second)
        assert track.active == model.active


@given(steps=steps, cut=st.integers(0, 40))
def test_readings_in_one_batch_or_in_two_give_the_same(
    steps: list[tuple[int, int, float, int, bool]], cut: int
) -> None:
    limit, readings, second = a_limit(), [], 0
    for pause, stamp_error, value, quality, _ in steps:
        second += pause
        readings.append(WatchReading("k1-pressure", (second + stamp_error) * 1000, value, quality))
    whole, changes = judge(LevelTrack(), limit, readings, fresh_s=FRESH_S, mono=7.0)
    first, early = judge(LevelTrack(), limit, readings[:cut], fresh_s=FRESH_S, mono=7.0)
    second_half, late = judge(first, limit, readings[cut:], fresh_s=FRESH_S, mono=7.0)
    assert (whole, changes) == (second_half, early + late)
