"""What the mirror has yet to send: spans that join, shrink and outlive a restart."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from a_store import NOW, declared, new_store
from hypothesis import given
from hypothesis import strategies as st

from ingest.store import Store
from ingest.store.alarms.alarm_record import TransitionRow, add_transition
from ingest.store.change_feed import cursor, prune_feed, set_cursor, touched_after
from ingest.store.mirror_queue import (
    FOLLOWER,
    JOIN_MS,
    MOST_REFUSED,
    TRANSITIONS,
    RefusedLine,
    Unsent,
    add_refused,
    backlog,
    begin_anew,
    feed_behind,
    follows,
    joined,
    newest_refused,
    next_span,
    put_off,
    shrink,
    transitions_after,
)
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.settling import DAY_MS, Settler


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with new_store(tmp_path) as opened:
        declare(opened, [declared(), declared(probe="k2-pressure", place="K2")], NOW)
        yield opened


def spans(store: Store) -> list[Unsent]:
    return [Unsent(*row) for row in store.connection.execute("SELECT * FROM mirror_span ORDER BY series, from_ms")]


@given(st.lists(st.tuples(st.integers(0, 10**8), st.integers(0, 10**7))), st.integers(0, 11 * 10**7))
def test_joined_intervals_cover_what_they_were_made_of_and_lie_apart(pairs: list[tuple[int, int]], moment: int) -> None:
    intervals = [(begin, begin + length) for begin, length in pairs]
    made = joined(intervals)
    assert all(any(a <= begin and end <= b for a, b in made) for begin, end in intervals)
    assert all(second[0] - first[1] > JOIN_MS for first, second in pairwise(made))
    if any(a <= moment <= b for a, b in made):
        assert any(begin - JOIN_MS <= moment <= end + JOIN_MS for begin, end in intervals)


def test_all_that_is_stored_is_to_be_sent_fresh_and_settled(store: Store) -> None:
    appender = Appender(store)
    appender.append([(1, NOW - 3 * DAY_MS, 1.0, 0), (1, NOW - 2 * DAY_MS, 1.0, 0), (2, NOW - 9, 1.0, 0)])
    settler = Settler(store)
    settler.begin(NOW - DAY_MS)
    while settler.slice():
        pass
    appender.append([(1, NOW, 1.0, 0)])
    with store.write() as connection:
        add_transition(connection, TransitionRow(NOW, "k", None, "e", "a", "b", None, "", ""))
        set_cursor(connection, TRANSITIONS, 1)
    assert not follows(store, 5)
    begin_anew(store, 5)
    assert follows(store, 5)
    assert not follows(store, 6)
    assert spans(store) == [Unsent(1, NOW - 3 * DAY_MS, NOW), Unsent(2, NOW - 9, NOW - 9)]
    assert feed_behind(store) == 0
    assert [id for id, _ in transitions_after(store, cursor(store, TRANSITIONS) or 0, 10)] == [1]


def test_a_feed_that_was_pruned_without_the_mirror_is_noticed(store: Store) -> None:
    appender = Appender(store)
    begin_anew(store, 5)
    for step in range(3):
        appender.append([(1, NOW + step, 1.0, 0)])
    assert follows(store, 5)
    with store.write() as connection:
        set_cursor(connection, "summaries", 1)
    while prune_feed(store, ("summaries",)):
        pass
    assert follows(store, 5)
    with store.write() as connection:
        set_cursor(connection, "summaries", 3)
    while prune_feed(store, ("summaries",)):
        pass
    assert not follows(store, 5)


def test_a_feed_that_was_pruned_as_far_as_the_mirror_came_still_holds(store: Store) -> None:
    appender = Appender(store)
    begin_anew(store, 5)
    for step in range(3):
        appender.append([(1, NOW + step, 1.0, 0)])
    put_off(store, [], touched_after(store, 0)[-1].seq)
    while prune_feed(store, (FOLLOWER,)):
        pass
    assert follows(store, 5)


def test_put_off_joins_and_moves_the_cursor(store: Store) -> None:
    put_off(store, [Unsent(1, 0, 10), Unsent(2, 5, 6)], 3)
    put_off(store, [Unsent(1, 20, 30), Unsent(1, 10**8, 10**8 + 1)], 4)
    assert spans(store) == [Unsent(1, 0, 30), Unsent(1, 10**8, 10**8 + 1), Unsent(2, 5, 6)]
    assert cursor(store, FOLLOWER) == 4
    assert backlog(store) == (3, 0)


def test_a_span_shrinks_until_it_is_gone(store: Store) -> None:
    put_off(store, [Unsent(1, 0, 10)], 1)
    assert shrink(store, 1, 0, 4)
    assert next_span(store) == Unsent(1, 4, 10)
    assert shrink(store, 1, 4, 10)
    assert next_span(store) == Unsent(1, 10, 10)
    assert shrink(store, 1, 10, 11)
    assert next_span(store) is None
    assert backlog(store) == (0, None)


def test_a_span_that_grew_meanwhile_keeps_what_came(store: Store) -> None:
    put_off(store, [Unsent(1, 0, 10)], 1)
    put_off(store, [Unsent(1, 5, 99)], 2)
    assert shrink(store, 1, 0, 11)
    assert spans(store) == [Unsent(1, 11, 99)]


def test_a_span_that_begins_elsewhere_now_is_not_shrunk(store: Store) -> None:
    put_off(store, [Unsent(1, 10, 20)], 1)
    put_off(store, [Unsent(1, 5, 6)], 2)
    assert not shrink(store, 1, 10, 15)
    assert spans(store) == [Unsent(1, 5, 20)]


def test_refused_lines_are_kept_once_and_not_without_bound(store: Store) -> None:
    with store.write() as connection:
        add_refused(connection, [RefusedLine("again", 400, "first")], NOW)
        add_refused(connection, (RefusedLine(f"line {n}", 400, "no") for n in range(MOST_REFUSED + 20)), NOW)
        add_refused(connection, [RefusedLine("last", 422, "x" * 9999), RefusedLine("last", 400, "twice")], NOW + 1)
    rows = store.connection.execute("SELECT line, count FROM mirror_refused ORDER BY last_ms DESC").fetchall()
    assert len(rows) == MOST_REFUSED
    assert rows[0] == ("last", 2)
    assert "again" not in dict(rows)
    assert newest_refused(store, 1) == [RefusedLine("last", 400, "twice")]
