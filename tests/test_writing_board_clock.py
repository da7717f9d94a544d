"""The board's clock: believed, waited for, estimated, and dated when it comes right."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ingest.store.readings.undated import Anchor
from ingest.writing.board_clock import DOUBT_S, WAIT_S, BoardClock, ClockState

KNOWN_MS = 1_790_000_000_000
BOOT_MS = 1_700_000_000_000  # where a board without a battery clock may begin


def test_a_clock_that_is_ahead_of_the_last_commit_is_believed() -> None:
    clock = BoardClock.at_start(KNOWN_MS, KNOWN_MS + 5000, 10.0)
    assert clock.verdict is ClockState.RIGHT
    assert clock.look(KNOWN_MS + 6000, 11.0) is ClockState.RIGHT


def test_a_store_without_a_past_believes_any_clock() -> None:
    assert BoardClock.at_start(0, BOOT_MS, 10.0).look(BOOT_MS, 11.0) is ClockState.RIGHT


def test_at_start_readings_wait_two_minutes_and_then_get_estimated_times() -> None:
    clock = BoardClock.at_start(KNOWN_MS, BOOT_MS, 10.0)
    assert clock.verdict is ClockState.WAITING
    assert clock.look(BOOT_MS + 60_000, 70.0) is ClockState.WAITING
    assert clock.look(BOOT_MS + 119_000, 10.0 + WAIT_S - 0.1) is ClockState.WAITING
    assert clock.look(BOOT_MS + 120_000, 10.0 + WAIT_S) is ClockState.UNKNOWN
    assert clock.estimate(10.0) == KNOWN_MS
    assert clock.estimate(131.5) == KNOWN_MS + 121_500


def test_a_clock_that_comes_right_while_waiting_ends_the_wait() -> None:
    clock = BoardClock.at_start(KNOWN_MS, BOOT_MS, 10.0)
    assert clock.look(KNOWN_MS + 86_400_000, 30.0) is ClockState.RIGHT


def test_a_clock_set_back_while_running_is_not_waited_for() -> None:
    clock = BoardClock.at_start(KNOWN_MS, KNOWN_MS, 10.0)
    clock.committed(KNOWN_MS + 100_000, 110.0)
    assert clock.look(KNOWN_MS + 101_000 - 3_600_000, 111.0) is ClockState.UNKNOWN
    assert clock.estimate(112.0) == KNOWN_MS + 102_000


def test_a_small_step_back_is_no_reason_to_doubt() -> None:
    clock = BoardClock.at_start(KNOWN_MS, KNOWN_MS, 10.0)
    clock.committed(KNOWN_MS + 100_000, 110.0)
    assert clock.look(KNOWN_MS + 99_500, 110.2) is ClockState.RIGHT


@given(st.integers(0, 10**9), st.floats(0, 10**6), st.floats(0, 10**6))
def test_the_shift_makes_every_estimated_time_the_true_one(ahead_ms: int, then: float, later: float) -> None:
    clock = BoardClock.at_start(KNOWN_MS, BOOT_MS, 0.0)
    now_mono = then + later
    now_ms = KNOWN_MS + ahead_ms + round(now_mono * 1000)
    assert clock.look(now_ms, now_mono) is ClockState.RIGHT
    dated = clock.estimate(then) + Anchor("boot-1", clock.known_ms, clock.known_mono).shift(now_ms, now_mono)
    assert abs(dated - (now_ms - later * 1000)) <= 2


def _running() -> BoardClock:
    """A clock that was right until the monotonic second 110."""
    clock = BoardClock.at_start(KNOWN_MS, KNOWN_MS, 10.0)
    clock.committed(KNOWN_MS + 100_000, 110.0)
    return clock


def test_a_jump_ahead_is_doubted_until_it_has_stood_for_a_minute() -> None:
    clock, day_ms = _running(), 86_400_000
    assert clock.look(KNOWN_MS + 111_000 + day_ms, 121.0) is ClockState.UNKNOWN
    assert clock.estimate(121.0) == KNOWN_MS + 111_000
    assert clock.look(KNOWN_MS + 131_000, 141.0) is ClockState.RIGHT, "it jumped back"
    clock.committed(KNOWN_MS + 131_000, 141.0)
    for mono in (142.0, 142.0 + DOUBT_S - 1.0):
        assert clock.look(KNOWN_MS + day_ms, mono) is ClockState.UNKNOWN
    for mono in (142.0 + DOUBT_S, 143.0 + DOUBT_S):
        assert clock.look(KNOWN_MS + day_ms, mono) is ClockState.RIGHT, "also before anything was committed"


def test_a_jump_with_which_the_network_begins_to_steer_the_clock_is_believed_at_once() -> None:
    clock = _running()
    assert clock.look(KNOWN_MS + 101_000, 111.0, steered=False) is ClockState.RIGHT
    assert clock.look(KNOWN_MS + 3_600_000, 112.0, steered=True) is ClockState.RIGHT
    clock = _running()
    assert clock.look(KNOWN_MS + 101_000, 111.0, steered=True) is ClockState.RIGHT
    assert clock.look(KNOWN_MS + 3_600_000, 112.0, steered=True) is ClockState.UNKNOWN


def test_what_the_network_says_for_a_minute_makes_the_future_wrong() -> None:
    clock = _running()
    for mono, steered in ((120.0, False), (130.0, True), (150.0, False), (160.0, True), (160.0 + DOUBT_S - 1, True)):
        assert clock.look(KNOWN_MS - 3_600_000, mono, steered) is ClockState.UNKNOWN
        assert not clock.future_is_wrong
    clock.look(KNOWN_MS - 3_600_000, 160.0 + DOUBT_S, steered=True)
    assert clock.future_is_wrong
