"""A whole turn: limits, operators, suppression, edits."""

from __future__ import annotations

import time

import pytest
from watch_limits import BROKER, EPOCH_MS, Rig, a_limit, a_silence, ids

from alerts.watch import Now, TurnInputs, Watch, WatchReading, WatchState
from alerts.watch.alarm import Transition
from ingest.operator_event import OperatorEvent, OperatorEventKind

LOW = "K1/pressure/low"
CARE = a_limit(key="K1/pressure/care", setpoint=20.0, deadband=3.0, on_delay_s=0.0, suppressed_by=("K1/pressure/air",))
AIR = a_limit(key="K1/pressure/air", on_delay_s=0.0)


def told(transitions: list[Transition]) -> list[tuple[str, str | None, str | None]]:
    return [(each.key.rpartition("/")[2], each.occurrence, each.occasion) for each in transitions]


def test_an_alarm_from_first_crossing_to_normal() -> None:
    rig = Rig(a_limit())
    assert rig.at(0, 4.0).transitions == []
    result = rig.at(60, 3.4)
    (raised,) = result.transitions
    assert (raised.opened, raised.closed, raised.occasion) == ("o1", None, "raised")
    assert (raised.from_state, raised.to_state, raised.event) == ("normal", "unacknowledged", "condition began")
    assert (raised.at_ms, raised.since_ms, raised.value) == (EPOCH_MS + 60_000, EPOCH_MS, 3.4)
    assert list(result.changed) == [LOW]
    assert rig.watch_state.records[LOW].condition.active

    rig.second = 90
    result = rig.acknowledge("o1")
    (seen,) = result.transitions
    assert (seen.to_state, seen.by, seen.note, seen.occasion) == ("acknowledged", "Ana", "on my way", None)
    assert result.outcomes == [(9, f"acknowledged: o1 ({LOW})")]
    assert rig.watch_state.records[LOW].alarm.acknowledged_by == "Ana"

    rig.at(100, 1.2)
    rig.at(120, 9.0)
    (ended,) = rig.at(150, 9.0).transitions
    assert (ended.occurrence, ended.closed, ended.to_state, ended.occasion) == ("o1", "o1", "normal", "returned")
    assert (ended.extreme, ended.raised_value, ended.value, ended.since_ms) == (1.2, 3.4, 9.0, EPOCH_MS)


def test_a_condition_that_comes_back_unacknowledged_is_the_next_occurrence() -> None:
    rig = Rig(a_limit(on_delay_s=0.0, off_delay_s=0.0))
    rig.at(0, 3)
    (ended,) = rig.at(1, 9).transitions
    assert (ended.to_state, ended.closed) == ("returned", None)
    (again,) = rig.at(2, 3).transitions
    assert (again.occurrence, again.opened, again.closed) == ("o2", "o2", "o1")
    rig.at(3, 9)
    (closed,) = rig.acknowledge("o2").transitions
    assert (closed.to_state, closed.closed, closed.occasion) == ("normal", "o2", None)


def test_a_backlog_that_came_and_went_is_raised_and_returned_in_one_turn() -> None:
    rig = Rig(a_limit())
    rig.second = 1000
    result = rig.turn([rig.reading(value, second) for second, value in [(1, 3), (61, 3), (70, 9), (100, 9)]])
    assert told(result.transitions) == [("low", "o1", "raised"), ("low", "o1", "returned")]
    assert rig.state() == "returned"


@pytest.mark.parametrize("target", ["o1", "O1", " o1 ", LOW])
def test_acknowledged_by_id_or_by_key(target: str) -> None:
    rig = Rig(a_limit(on_delay_s=0.0))
    rig.at(0, 3)
    rig.acknowledge(target)
    assert rig.state() == "acknowledged"


def test_acknowledging_what_is_not_open_says_so() -> None:
    rig = Rig(a_limit(on_delay_s=0.0, off_delay_s=0.0))

    def said(target: str) -> str:
        result = rig.acknowledge(target)
        assert result.transitions == []
        assert result.changed == {}
        return result.outcomes[0][1]

    assert "no open alarm is called '7f3k'" in said("7f3k")
    assert said(LOW) == f"nothing done: {LOW}: there is nothing to acknowledge"
    rig.at(0, 3)
    rig.acknowledge("o1")
    assert said("o1") == f"nothing done: o1 ({LOW}): it is acknowledged already (by Ana)"
    rig.at(1, 9)
    assert said("o1") == f"nothing done: o1 ({LOW}) is closed already"
    (outcome,) = rig.turn([], OperatorEvent(4, 0, "dance", LOW, "Ana")).outcomes
    assert outcome == (
        4,
        "not done: 'dance' is not something that this version can do; it can: " + ", ".join(OperatorEventKind),
    )


def test_an_acknowledgement_is_of_what_the_person_saw_not_of_what_this_turn_raises() -> None:
    rig = Rig(a_limit(on_delay_s=0.0))
    result = rig.turn([rig.reading(3, 0)], OperatorEvent(1, 0, "acknowledge", LOW, "Ana"))
    assert "nothing to acknowledge" in result.outcomes[0][1]
    assert rig.state() == "unacknowledged"


def test_a_suppressed_limit_is_silent_also_when_both_begin_in_one_turn() -> None:
    rig = Rig(CARE, AIR)
    result = rig.at(0, 3)
    assert told(result.transitions) == [("care", None, None), ("air", "o1", "raised")]
    assert result.transitions[0].suppressed_by == AIR.key
    assert rig.state(CARE.key) == "suppressed"


def test_a_backlog_in_which_both_came_and_went_tells_of_one() -> None:
    rig = Rig(CARE, AIR)
    rig.second = 100
    result = rig.turn([rig.reading(value, second) for second, value in [(0, 3), (10, 60), (40, 60)]])
    assert told(result.transitions) == [
        ("care", None, None),
        ("air", "o1", "raised"),
        ("air", "o1", "returned"),
        ("care", None, None),
    ]
    assert rig.state(CARE.key) == "normal"


def test_what_was_suppressed_speaks_when_the_other_has_ended() -> None:
    rig = Rig(CARE, AIR)
    rig.at(0, 15)
    assert rig.state(CARE.key) == "unacknowledged"
    rig.at(10, 3)
    assert (rig.state(CARE.key), rig.state(AIR.key)) == ("suppressed", "unacknowledged")
    assert "suppressed by design" in rig.acknowledge("o1").outcomes[0][1]
    rig.at(20, 10)
    result = rig.at(50, 10)
    # It was reported before, so no message is sent about it.
    assert told(result.transitions) == [("air", "o2", "returned"), ("care", "o1", None)]
    rig.at(60, 30)
    assert told(rig.at(90, 30).transitions) == [("care", "o1", "returned")]


def test_a_return_that_suppression_hid_is_told_when_it_ends() -> None:
    rig = Rig(CARE, AIR)
    rig.at(0, 15)
    rig.at(10, 3)
    rig.at(20, 60)
    result = rig.at(50, 60)
    assert told(result.transitions) == [("air", "o2", "returned"), ("care", "o1", "returned")]
    assert result.transitions[1].closed == "o1"


def test_a_return_told_before_suppression_is_not_told_twice() -> None:
    rig = Rig(CARE, AIR)
    rig.at(0, 15)
    rig.at(10, 30)
    assert told(rig.at(40, 30).transitions) == [("care", "o1", "returned")]
    rig.at(50, 3)
    rig.at(60, 60)
    assert told(rig.at(90, 60).transitions) == [("air", "o2", "returned"), ("care", "o1", None)]


PROBE = a_silence(suppressed_by=(BROKER.key,))


def test_a_broker_that_comes_back_leaves_its_probes_their_time_to_be_heard() -> None:
    rig = Rig(BROKER, PROBE)
    rig.at(0, 20)
    rig.at(0, well=[BROKER.key])
    assert told(rig.at(101).transitions) == [("no-data", None, None), ("broker", "o1", "raised")]
    assert rig.at(150).transitions == []
    result = rig.at(200, well=[BROKER.key])
    assert told(result.transitions) == [("broker", "o1", "returned"), ("no-data", None, None)]
    assert not rig.watch_state.records[PROBE.key].condition.active
    rig.at(290, well=[BROKER.key])
    assert rig.at(320, well=[BROKER.key]).transitions == []
    assert told(rig.at(321, well=[BROKER.key]).transitions) == [("no-data", "o2", "raised")]


def _reported_before_its_broker_fell_silent() -> Rig:
    """The probe was alarmed while the broker was well; the broker was gone from 205 s on, and is back at 310 s."""
    rig = Rig(BROKER, PROBE)
    for second in range(0, 121, 10):
        rig.at(second, well=[BROKER.key])
    assert told(rig.at(121).transitions) == [("no-data", "o1", "raised")]
    rig.at(220)
    assert told(rig.at(221).transitions) == [("no-data", "o1", None), ("broker", "o2", "raised")]
    assert told(rig.at(310, well=[BROKER.key]).transitions) == [("broker", "o2", "returned")]
    return rig


def test_a_silence_known_before_its_broker_fell_silent_returns_without_being_raised_again() -> None:
    rig = _reported_before_its_broker_fell_silent()
    rig.at(400, well=[BROKER.key])
    assert told(rig.at(410, 20.0, well=[BROKER.key]).transitions) == [("no-data", "o1", "returned")]


def test_a_silence_known_before_its_broker_fell_silent_stands_again_when_it_outlasts_its_time() -> None:
    rig = _reported_before_its_broker_fell_silent()
    assert rig.at(341, well=[BROKER.key]).transitions == []
    assert told(rig.at(431, well=[BROKER.key]).transitions) == [("no-data", "o1", None)]


def test_a_cause_that_is_over_does_not_raise_what_had_returned_before() -> None:
    rig = Rig(BROKER, PROBE)
    for second in range(0, 121, 10):
        rig.at(second, well=[BROKER.key])
    assert told(rig.at(121, well=[BROKER.key]).transitions) == [("no-data", "o1", "raised")]
    assert told(rig.at(130, 20.0, well=[BROKER.key]).transitions) == [("no-data", "o1", "returned")]
    assert told(rig.at(231).transitions) == [("no-data", "o1", None), ("broker", "o2", "raised")]
    rig.at(300)
    # Nobody has acknowledged the probe's alarm, and the probe has not been heard since its broker is back.
    result = rig.at(400, well=[BROKER.key])
    assert told(result.transitions) == [("broker", "o2", "returned"), ("no-data", "o1", None)]
    assert result.transitions[1].closed == "o1"
    assert rig.at(410, 20.0, well=[BROKER.key]).transitions == []


def test_a_silence_waits_until_it_is_known_whether_its_broker_is_gone() -> None:
    rig = Rig(BROKER, a_silence(suppressed_by=(BROKER.key,), setpoint=60.0))
    rig.at(0, 20.0, well=[BROKER.key])
    assert [rig.at(second).transitions for second in (16, 59, 61, 100)] == [[], [], [], []]
    assert told(rig.at(101).transitions) == [("no-data", None, None), ("broker", "o1", "raised")]


def test_a_silence_that_waited_for_its_broker_is_raised_once_that_is_well() -> None:
    rig = Rig(BROKER, a_silence(suppressed_by=(BROKER.key,), setpoint=60.0))
    rig.at(0, 20.0, well=[BROKER.key])
    assert rig.at(80).transitions == []
    assert told(rig.at(81, well=[BROKER.key]).transitions) == [("no-data", "o1", "raised")]


def test_a_suppressing_limit_that_is_removed_releases_the_other() -> None:
    rig = Rig(CARE, AIR)
    rig.at(0, 3)
    result = rig.edit(CARE)
    assert told(result.transitions) == [("air", "o1", "removed"), ("care", "o2", "raised")]


def test_a_removed_limit_closes_its_occurrence() -> None:
    rig = Rig(a_limit(on_delay_s=0.0), a_silence())
    rig.at(0, 3)
    result = rig.edit(a_silence())
    (removed,) = result.transitions
    assert (removed.closed, removed.event, removed.occasion) == ("o1", "limit removed", "removed")
    assert result.removed == (LOW,)
    assert list(rig.watch_state.records) == [a_silence().key]
    quiet = Rig(a_limit())
    result = quiet.edit()
    assert (result.transitions, result.removed) == ([], (LOW,))


def test_an_edited_setpoint_leaves_the_occurrence_and_drops_running_delays() -> None:
    rig = Rig(a_limit())
    rig.at(0, 3)
    rig.edit(a_limit(setpoint=4.0))
    rig.at(60, 3)
    assert rig.state() == "normal", "the delay began again"
    rig.at(120, 3)
    assert rig.state() == "unacknowledged"
    result = rig.edit(a_limit(setpoint=1.0))
    assert result.transitions == []
    assert list(result.changed) == [LOW]
    rig.at(130, 2.5)
    (ended,) = rig.at(160, 2.5).transitions
    assert ended.occurrence == "o1"


def test_a_limit_moved_to_another_probe_is_ended_by_that_one_only() -> None:
    rig = Rig(a_limit(on_delay_s=0.0, off_delay_s=0.0))
    rig.at(100, 3)
    rig.edit(a_limit(on_delay_s=0.0, off_delay_s=0.0, probe="k1-spare"))
    rig.at(110, 50)
    assert rig.state() == "unacknowledged"
    rig.second = 111
    rig.turn([rig.reading(50, 20, probe="k1-spare")])
    assert rig.state() == "returned", "the other probe's time does not make this one's reading late"


def test_a_limit_that_becomes_one_on_silence_keeps_its_occurrence() -> None:
    rig = Rig(a_limit(key="own", on_delay_s=0.0))
    rig.at(0, 3)
    rig.edit(a_silence(key="own"))
    assert rig.state("own") == "unacknowledged"
    (ended,) = rig.at(1, 3).transitions
    assert ended.occurrence == "o1"


def test_readings_of_an_unknown_probe_are_passed_over() -> None:
    rig = Rig(a_limit(on_delay_s=0.0))
    result = rig.at(0, 1, probe="elsewhere")
    assert (result.transitions, result.changed) == ([], {})


def test_new_readings_alone_write_nothing() -> None:
    rig = Rig(a_limit(), a_silence())
    for second in range(0, 600, 10):
        assert rig.at(second, 20.0 + second).changed == {}


def test_a_falling_extreme_is_written_in_steps_of_the_deadband() -> None:
    rig = Rig(a_limit(on_delay_s=0.0))
    rig.at(0, 4.9)
    writes = [value for value in (4.8, 4.7, 4.5, 3.9, 3.8, 3.7, 2.5) if rig.at(10 - value, value).changed]
    assert writes == [3.9, 2.5]


def test_what_is_well_but_not_watched_is_passed_over() -> None:
    rig = Rig(a_limit())
    result = rig.at(0, well=["leeside/mirror"])
    assert (result.transitions, result.changed) == ([], {})


def test_a_turn_leaves_the_state_it_was_given_as_it_was() -> None:
    rig = Rig(a_limit(on_delay_s=0.0))
    before = rig.watch_state
    records = dict(before.records)
    assert rig.at(0, 3).transitions
    assert before.records == records


def test_a_thousand_limits_cost_printed() -> None:
    """Prints what a turn costs; the time is for the reader, the assert is on what came out."""
    limits = {}
    for number in range(250):
        at, probe, air = f"K{number}", f"k{number}-pressure", f"K{number}/pressure/air"
        for limit in (
            a_limit(key=f"{at}/pressure/care", at=at, probe=probe, setpoint=20.0, suppressed_by=(air,)),
            a_limit(key=air, at=at, probe=probe),
            a_limit(key=f"{at}/pressure/over", at=at, probe=probe, kind="high", setpoint=180.0),
            a_silence(key=f"{at}/pressure/no-data", at=at, probe=probe),
        ):
            limits[limit.key] = limit
    watch, next_occurrence = Watch(limits), ids()
    state = watch.turn(WatchState(), TurnInputs(), Now(0, 0.0), next_occurrence).state

    def turn(second: int, value: float | None) -> int:
        nonlocal state
        readings = [
            WatchReading(f"k{number}-pressure", second * 1000 + tenth, value + tenth)
            for number in range(250)
            for tenth in range(4)
            if value is not None
        ]
        begin = time.perf_counter()
        result = watch.turn(state, TurnInputs(readings), Now(second * 1000, float(second)), next_occurrence)
        spent_ms = (time.perf_counter() - begin) * 1000
        print(f"1000 limits, {len(readings)} readings, {len(result.transitions)} steps: {spent_ms:.1f} ms")
        state = result.state
        return len(result.transitions)

    assert turn(1, None) == 0
    assert turn(2, 55.0) == 0
    assert turn(3, 0.5) == 0
    assert turn(4, None) == 0
    assert turn(70, 0.5) == 500
