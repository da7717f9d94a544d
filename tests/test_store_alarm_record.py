"""Where each limit stands, and the alarm record."""

from __future__ import annotations

from a_store import NOW

from ingest.store import Store
from ingest.store.alarms.alarm_record import (
    AlarmRow,
    OccurrenceRow,
    TransitionRow,
    add_transition,
    alarm_rows,
    last_raised_ms,
    last_steps,
    occurrences,
    put_alarm,
    remove_alarm,
    transitions,
)

LOW = AlarmRow("K1/pressure/low", "unacknowledged", "a2b", '{"form":1}', NOW)
HIGH = AlarmRow("K1/pressure/high", "normal", None, "{}", NOW)


def _step(at_ms: int, occurrence: str | None, value: float | None = 3.5) -> TransitionRow:
    return TransitionRow(at_ms, LOW.key, occurrence, "condition began", "normal", "unacknowledged", value, "", "")


def test_a_limit_stands_in_one_row(store: Store) -> None:
    with store.write() as connection:
        put_alarm(connection, LOW)
        put_alarm(connection, HIGH)
        put_alarm(connection, LOW._replace(state="acknowledged", changed_ms=NOW + 1))
    assert alarm_rows(store) == [HIGH, LOW._replace(state="acknowledged", changed_ms=NOW + 1)]


def test_a_limit_that_left_the_file_is_forgotten_but_its_journal_stays(store: Store) -> None:
    with store.write() as connection:
        put_alarm(connection, LOW)
        add_transition(connection, _step(NOW, "a2b"))
        remove_alarm(connection, LOW.key)
        remove_alarm(connection, "never/was")
    assert alarm_rows(store) == []
    assert transitions(store) == [_step(NOW, "a2b")]


def test_the_journal_reads_by_time_and_by_occurrence(store: Store) -> None:
    rows = [_step(NOW, "a2b"), _step(NOW + 10, None, None), _step(NOW + 20, "a2b"), _step(NOW + 20, "a2c")]
    with store.write() as connection:
        assert [add_transition(connection, row) for row in rows] == [1, 2, 3, 4]
    assert transitions(store) == rows
    assert transitions(store, NOW + 1) == rows[1:]
    assert transitions(store, NOW + 1, "a2b") == [rows[2]]
    assert transitions(store, occurrence="none") == []


def test_the_newest_step_of_each_limit_and_when_it_last_raised_an_alarm(store: Store) -> None:
    raised = _step(NOW, "a2b")
    ended = raised._replace(at_ms=NOW + 5, event="condition ended", from_state="unacknowledged", to_state="returned")
    quiet = _step(NOW + 1, None)._replace(key="K2/pressure/low", to_state="suppressed", note="the vessel is empty")
    assert (last_steps(store), last_raised_ms(store)) == ({}, {})
    with store.write() as connection:
        for step in (raised, quiet, raised._replace(at_ms=NOW + 3, occurrence="a2c"), ended):
            add_transition(connection, step)
    assert last_steps(store) == {LOW.key: ended, quiet.key: quiet}
    assert last_raised_ms(store) == {LOW.key: NOW + 3}


def test_alarms_are_found_by_when_their_condition_lasted(store: Store) -> None:
    ended = _step(NOW + 100, "a2b", 9.0)._replace(event="condition ended", to_state="returned")
    rows = [
        _step(NOW, "a2b", 3.5),
        _step(NOW + 50, "a2b", None)._replace(event="acknowledged", to_state="acknowledged"),
        ended,
        ended._replace(at_ms=NOW + 150, event="acknowledged", to_state="normal"),
        _step(NOW + 200, "a2c", 2.0),
        _step(NOW + 300, "b1a", 1.0)._replace(key=HIGH.key),
        _step(NOW + 10, None),
    ]
    with store.write() as connection:
        for row in rows:
            add_transition(connection, row)
    first = OccurrenceRow("a2b", LOW.key, NOW, NOW + 100, 3.5)
    second = OccurrenceRow("a2c", LOW.key, NOW + 200, None, 2.0)
    for from_ms, to_ms, found in (
        (NOW - 9, NOW, []),
        (NOW - 9, NOW + 1, [first]),
        (NOW + 100, NOW + 101, [first]),
        (NOW + 101, NOW + 200, []),
        (NOW + 50, NOW + 201, [first, second]),
        (NOW + 5000, NOW + 6000, [second]),
    ):
        assert occurrences(store, [LOW.key], from_ms, to_ms) == found
    assert occurrences(store, [], NOW, NOW + 500) == []
