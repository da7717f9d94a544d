"""A probe whose own clock is wrong: which time its readings are judged by."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import EPOCH_MS, IMPORTED, Rig, a_limit, a_silence

from alerts.watch import Now, WatchReading
from alerts.watch.probe_clock import ProbeClock, judged_times

LOW = "K1/pressure/low"
FRESH_S = 120.0


def test_a_reading_that_is_ahead_makes_no_later_one_late() -> None:
    rig = Rig(a_limit(), a_silence())
    rig.at(0, 20)
    rig.second = 10
    rig.turn([rig.reading(20, 310)])
    rig.at(20, 3)
    assert rig.at(79, 3).transitions == []
    (raised,) = rig.at(80, 3).transitions
    assert raised.since_ms == EPOCH_MS + 20_000


def test_even_the_first_reading_may_be_ahead() -> None:
    rig = Rig(a_limit())
    rig.second = 10
    rig.turn([rig.reading(20, 400)])
    rig.at(20, 3)
    assert len(rig.at(80, 3).transitions) == 1


def test_a_probe_whose_clock_stays_ahead_is_judged_by_arrival() -> None:
    rig = Rig(a_limit())
    rig.at(0, 20)
    rig.skew_ms = 300_000
    rig.at(10, 3)
    assert rig.at(60, 3).transitions == []
    assert len(rig.at(70, 3).transitions) == 1
    rig.skew_ms = 0
    rig.at(80, 20)
    assert len(rig.at(111, 20).transitions) == 1


def test_a_machine_whose_clock_was_set_back_is_not_taken_for_a_probe_that_is_ahead() -> None:
    clock = ProbeClock()
    for second in range(0, 100, 10):
        wall_ms = EPOCH_MS + second * 1000 - (3_600_000 if second >= 50 else 0)
        reading = WatchReading("p", EPOCH_MS + second * 1000, 1.0)
        clock, (judged,) = judged_times(clock, [reading], fresh_s=FRESH_S, now=Now(wall_ms, 5.0 + second))
        assert judged == reading


def test_a_probe_whose_clock_is_set_back_is_judged_by_arrival_after_the_no_data_time() -> None:
    rig = Rig(a_limit(), a_silence())
    rig.at(0, 20)
    rig.skew_ms = -3_600_000
    for second in range(10, 131, 10):
        assert rig.at(second, 3).transitions == []
    raised = [step for second in range(140, 211, 10) for step in rig.at(second, 3).transitions]
    assert [step.to_state for step in raised] == ["unacknowledged"]
    rig.skew_ms = 0
    rig.at(220, 20)
    assert len(rig.at(251, 20).transitions) == 1


@pytest.mark.parametrize("per_turn", [2, 60])
def test_a_backlog_moves_no_alarm_however_long_it_comes(per_turn: int) -> None:
    """Sent between current readings, and sent alone for longer than the no-data time."""
    for current in (True, False):
        rig = Rig(a_limit(on_delay_s=0.0, off_delay_s=0.0))
        rig.at(0, 20)
        sent = -7200
        for second in range(1, 400):
            rig.second = second
            backlog = [rig.reading(3, sent + each) for each in range(per_turn)]
            sent += per_turn
            if sent >= 0:
                break
            newest = [rig.reading(20, second)] if current else []
            assert rig.turn([*backlog, *newest]).transitions == []


@given(st.lists(st.tuples(st.integers(1, 300), st.integers(-900, 4)), max_size=30))
def test_what_is_not_ahead_keeps_its_own_time_or_is_late(course: list[tuple[int, int]]) -> None:
    """Without an own time ahead, the rule on late readings is what it was, but for a clock that goes back for good."""
    clock, second, newest = ProbeClock(), 0, -1000
    for pause, skew in course:
        second += pause
        reading = WatchReading("p", EPOCH_MS + (second + skew) * 1000, 1.0)
        now = Now(EPOCH_MS + second * 1000, float(second))
        clock, (judged,) = judged_times(clock, [reading], fresh_s=1e9, now=now)
        assert judged == reading
        newest = max(newest, second + skew)
        assert clock.newest_ms == EPOCH_MS + newest * 1000


def test_an_imported_reading_says_nothing_of_the_clock() -> None:
    imported = WatchReading("p", EPOCH_MS + 10**9, 1.0, IMPORTED)
    assert judged_times(ProbeClock(), [imported], fresh_s=FRESH_S, now=Now(EPOCH_MS, 1.0)) == (ProbeClock(), [imported])
