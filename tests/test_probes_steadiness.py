"""Jumps and stuck probes. The rules are this project's choice; the cases are what such probes are known to do
(common practice, no source)."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st

from ingest.probes.steadiness import JumpWatch, Steadiness, StuckWatch
from ingest.reading import Reason, quality_reason


def doubts(watch: JumpWatch, *readings: tuple[float, float]) -> list[bool]:
    return [watch.is_jump(round(at_s * 1000), number) for at_s, number in readings]


def test_a_single_slip_is_doubted_and_the_next_reading_is_not() -> None:
    assert doubts(JumpWatch(5.0), (0, 12.1), (10, 12.1), (20, 85.0), (30, 12.2)) == [False, False, True, False]


def test_a_probe_that_was_moved_is_believed_at_the_second_reading() -> None:
    assert doubts(JumpWatch(5.0), (0, 12.1), (10, 21.0), (20, 21.1), (30, 21.0)) == [False, True, False, False]


def test_two_different_slips_are_both_doubted() -> None:
    assert doubts(JumpWatch(5.0), (0, 12.1), (10, 85.0), (20, -40.0), (30, 12.0)) == [False, True, True, False]


def test_what_is_possible_grows_with_the_time_between() -> None:
    assert doubts(JumpWatch(5.0), (0, 12.0), (120, 21.0)) == [False, False]
    assert doubts(JumpWatch(5.0), (0, 12.0), (120, 23.0)) == [False, True]
    assert doubts(JumpWatch(5.0), (0, 12.0), (700, 60.0)) == [False, False]


@given(st.lists(st.floats(-2.4, 2.4), max_size=200))
def test_a_walk_of_small_steps_is_never_doubted(steps: list[float]) -> None:
    watch, number = JumpWatch(5.0), 12.0
    for index, step in enumerate(steps):
        number += step
        assert not watch.is_jump(index * 10_000, number)


def lively(watch: StuckWatch, count: int, seed: int = 1) -> int:
    """A probe that shows its noise; gives the next time."""
    chance = random.Random(seed)
    for index in range(count):
        assert not watch.is_stuck(index * 10_000, round(chance.gauss(12, 0.05), 2))
    return count * 10_000


def test_a_lively_probe_that_freezes_is_stuck_after_ten_minutes() -> None:
    watch = StuckWatch()
    at_ms = lively(watch, 1000)
    judged = [watch.is_stuck(at_ms + index * 10_000, 12.345) for index in range(100)]
    assert not any(judged[:60])
    assert all(judged[62:])
    assert not watch.is_stuck(at_ms + 2_000_000, 12.34)


def test_a_probe_cannot_get_used_to_being_stuck() -> None:
    watch = StuckWatch()
    at_ms = lively(watch, 1000)
    assert all([watch.is_stuck(at_ms + index * 10_000, 12.345) for index in range(20_000)][100:])


def test_a_quiet_probe_is_never_called_stuck() -> None:
    watch = StuckWatch()
    # One step of the converter every hour at one reading in ten seconds: a cellar in winter.
    for index in range(50_000):
        assert not watch.is_stuck(index * 10_000, 12.0 + (index // 360) % 2 * 0.1)


@given(st.integers(0, 10**6), st.floats(0.05, 0.5))
def test_a_probe_that_keeps_its_habits_is_hardly_ever_called_stuck(seed: int, share: float) -> None:
    chance, watch, number, stuck = random.Random(seed), StuckWatch(), 0.0, 0
    for index in range(5000):
        number += chance.random() < share
        stuck += watch.is_stuck(index * 10_000, number)
    assert stuck == 0


def test_only_good_readings_are_doubted_and_series_do_not_mix() -> None:
    steadiness = Steadiness({1: 5.0, 2: None})
    rows = [(1, 0, 12.0, 0), (2, 0, 50.0, 0), (1, 10_000, 99.0, 2), (1, 20_000, 99.0, 0), (2, 10_000, 0.5, 0)]
    assert [quality_reason(steadiness.judged(row)[3]) for row in rows] == [
        Reason.NONE,
        Reason.NONE,
        Reason.NONE,  # bad already: class 2, no reason
        Reason.JUMP,
        Reason.NONE,  # a pressure may do anything within a moment
    ]
