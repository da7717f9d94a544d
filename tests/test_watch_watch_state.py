"""What survives a restart."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import BAD, BROKER, EPOCH_MS, Rig, a_limit, a_silence

from alerts.watch import LimitRecord, NewestReading, Now, TurnInputs, WatchState, WatchStateUnreadable

LOW = "K1/pressure/low"


def restarted(rig: Rig, *, after_s: float = 0.0, newest: bool = True) -> Rig:
    """The same cellar after a restart: another monotonic clock, the state from its stored rows."""
    records = rig.watch_state.records
    rows = {key: record.to_json() for key, record in records.items()}
    newest_ms = records[LOW].track.newest_ms if newest and LOW in records else None
    other = Rig.__new__(Rig)
    other.__dict__.update(rig.__dict__)
    other.second = rig.second + after_s
    other.watch_state = WatchState.from_rows(
        rows,
        other.now()._replace(utc_ms=0),
        {} if newest_ms is None else {"k1-pressure": NewestReading(newest_ms)},
    )
    return other


@given(st.lists(st.tuples(st.integers(0, 60), st.sampled_from([2.0, 5.5, 9.0]), st.booleans()), max_size=20))
def test_a_record_comes_back_as_it_was_but_for_its_monotonic_stamps(steps: list[tuple[int, float, bool]]) -> None:
    rig = Rig(a_limit(), a_silence())
    second = 0
    for pause, value, acknowledges in steps:
        second += pause
        rig.at(second, value)
        if acknowledges:
            rig.acknowledge(LOW)
    records = rig.watch_state.records
    again = restarted(rig).watch_state.records
    assert {key: record.to_json() for key, record in again.items()} == {
        key: record.to_json() for key, record in records.items()
    }
    assert {key: record.alarm for key, record in again.items()} == {
        key: record.alarm for key, record in records.items()
    }


def test_a_restart_neither_raises_twice_nor_forgets() -> None:
    rig = Rig(a_limit(on_delay_s=0.0, off_delay_s=0.0))
    rig.at(0, 3)
    rig.acknowledge("o1")
    rig = restarted(rig, after_s=30)
    assert rig.at(31, 3).transitions == []
    assert rig.state() == "acknowledged"
    (ended,) = rig.at(40, 9).transitions
    assert ended.closed == "o1"

    rig.at(50, 3)
    rig.at(60, 9)
    rig = restarted(rig, after_s=5)
    assert rig.state() == "returned"
    (closed,) = rig.acknowledge("o2").transitions
    assert closed.closed == "o2"


def test_a_running_delay_goes_on_in_own_time() -> None:
    rig = Rig(a_limit())
    rig.at(0, 3)
    rig = restarted(rig, after_s=20)
    (raised,) = rig.at(60, 3).transitions
    assert raised.since_ms == EPOCH_MS


def test_a_running_delay_does_not_run_out_on_silence_after_a_restart() -> None:
    rig = Rig(a_limit())
    rig.at(0, 3)
    rig = restarted(rig, after_s=20)
    assert rig.at(110).transitions == [], "no reading since the restart: nothing is fresh"
    assert rig.at(115, 3).transitions != []


def test_a_silence_begins_again_and_a_known_one_stays() -> None:
    rig = Rig(a_limit(), a_silence())
    rig.at(0, 20)
    rig = restarted(rig, after_s=100)
    rig.at(219)
    assert rig.state(a_silence().key) == "normal"
    (raised,) = rig.at(221).transitions
    assert raised.since_ms == EPOCH_MS, "silent since its last reading, not since the restart"
    rig = restarted(rig)
    assert rig.at(222).transitions == []
    assert told_returned(rig)


def told_returned(rig: Rig) -> bool:
    return [each.occasion for each in rig.at(230, 20).transitions] == ["returned"]


def test_who_knows_the_newest_reading_keeps_late_ones_out_after_a_restart() -> None:
    rig = Rig(a_limit(on_delay_s=0.0))
    rig.at(0, 20)
    stored = {LOW: rig.watch_state.records[LOW].to_json()}
    rig.at(100, 20)
    state = WatchState.from_rows(stored, Now(0, 1.0), {"k1-pressure": NewestReading(EPOCH_MS + 100_000)})
    late = rig.watch.turn(state, TurnInputs([rig.reading(3, 99)]), Now(0, 1.0), rig.next_occurrence)
    assert late.transitions == []
    assert state.records[LOW].seen_until(NewestReading(0)) is state.records[LOW]
    due = rig.watch.turn(state, TurnInputs([rig.reading(3, 101)]), Now(0, 1.0), rig.next_occurrence)
    assert len(due.transitions) == 1


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{}",
        '{"form": 1}',
        json.dumps({"form": 1, "rule": {"kind": "low"}, "track": {}, "alarm": {}}),
        LimitRecord.fresh(a_limit(), 0.0).to_json().replace('"normal"', '"merry"'),
        LimitRecord.fresh(a_limit(), 0.0).to_json().replace('"newest_ms"', '"newest"'),
    ],
)
def test_a_record_that_cannot_be_read_is_named(text: str) -> None:
    with pytest.raises(WatchStateUnreadable, match="a stored alarm cannot be read"):
        LimitRecord.from_json(text, 0.0)


def test_a_record_of_another_form_is_named() -> None:
    text = LimitRecord.fresh(a_limit(), 0.0).to_json().replace('"form":1', '"form":2')
    with pytest.raises(WatchStateUnreadable, match="form 2 of a stored alarm is not known, only 1"):
        LimitRecord.from_json(text, 0.0)


def test_after_a_restart_a_silence_is_not_dated_by_a_change_of_long_before() -> None:
    rig = Rig(BROKER)
    rig.at(101)
    stored = rig.at(200, well=[BROKER.key]).changed
    assert rig.state(BROKER.key) == "returned"
    # What is well writes no record, so the stored one is that of the return.
    assert not rig.at(90_000, well=[BROKER.key]).changed
    rig.watch_state = WatchState.from_rows({key: record.to_json() for key, record in stored.items()}, Now(0, 500.0))
    rig.second = 0
    (raised,) = rig.at(101).transitions
    assert raised.since_ms == EPOCH_MS


def _as_before(record: LimitRecord, probe: str) -> str:
    """The record as it was stored while limits on good readings and on leeside itself had probes of their own."""
    document = json.loads(record.to_json())
    document["rule"] |= {"kind": "no data", "probe": probe}
    document["track"]["newest_ms"] = EPOCH_MS
    return json.dumps(document)


def test_alarms_stored_while_each_limit_had_a_probe_stand_until_their_end() -> None:
    bad = a_silence(key="K1/pressure/bad-measurement", role="bad measurement", setpoint=600.0)
    rig = Rig(BROKER, bad)
    rig.at(601, 3, quality=BAD)
    open_before = {key: record.alarm for key, record in rig.watch_state.records.items()}
    assert rig.state(BROKER.key) == rig.state(bad.key) == "unacknowledged"
    rows = {
        BROKER.key: _as_before(rig.watch_state.records[BROKER.key], "broker"),
        bad.key: _as_before(rig.watch_state.records[bad.key], "k1-pressure (good readings)"),
    }
    rig.watch_state = WatchState.from_rows(rows, rig.now(), {"k1-pressure": NewestReading(EPOCH_MS)})
    assert rig.at(602, 3, quality=BAD).transitions == []
    assert {key: record.alarm for key, record in rig.watch_state.records.items()} == open_before
    ended = rig.at(603, 3, well=[BROKER.key]).transitions
    assert {(each.key, each.occasion) for each in ended} == {(BROKER.key, "returned"), (bad.key, "returned")}
