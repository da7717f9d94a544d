"""What the mirror has yet to send: cursors, and spans that join, shrink and outlive a restart."""

from __future__ import annotations

from itertools import pairwise

import pytest
from a_mirror import refused_lines
from a_store import NOW, declared
from hypothesis import given
from hypothesis import strategies as st

from ingest.store import Store
from ingest.store.alarms.alarm_record import TransitionRow, add_transition
from ingest.store.change_feed import MIRROR, prune_feed, set_cursor, touch
from ingest.store.mirror_queue import (
    JOIN_MS,
    MOST_REFUSED,
    MirrorQueue,
    Portion,
    ReadingSpan,
    RefusedLine,
    Unsent,
    joined,
)
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.settling import DAY_MS, Settler


@pytest.fixture
def store(store: Store) -> Store:
    declare(store, [declared(), declared(probe="k2-pressure", place="K2")], NOW)
    return store


@pytest.fixture
def queue(store: Store) -> MirrorQueue:
    """A queue that has begun and has nothing to send."""
    begun = MirrorQueue(store, 5)
    assert begun.begin()
    return begun


def spans(store: Store) -> list[ReadingSpan]:
    return [ReadingSpan(*row) for row in store.connection.execute("SELECT * FROM mirror_span ORDER BY series, from_ms")]


def put_off(store: Store, queue: MirrorQueue, *changes: tuple[int, int, int]) -> None:
    """Changes of (series, from_ms, to_ms) come into the feed and cannot be sent."""
    with store.write() as connection:
        touch(connection, changes)
    queue.put_off_changes()


def next_portion(queue: MirrorQueue, most: int, *, changes: bool = False) -> Portion:
    return next(queue.portions(most, changes=changes))


def times_of(portion: Portion) -> list[tuple[int, int]]:
    """(series, time) of the readings of a portion."""
    return [(series, at) for series, readings in portion.readings for at in readings.at_ms.tolist()]


@given(
    st.lists(st.tuples(st.integers(1, 2), st.integers(0, 10**8), st.integers(0, 10**7))),
    st.integers(1, 2),
    st.integers(0, 11 * 10**7),
)
def test_joined_spans_cover_what_they_were_made_of_and_lie_apart(
    drawn: list[tuple[int, int, int]], series: int, moment: int
) -> None:
    given_spans = [ReadingSpan(series, begin, begin + length) for series, begin, length in drawn]
    apart = joined(given_spans)
    assert all(
        any(wide.series == span.series and wide.from_ms <= span.from_ms and span.to_ms <= wide.to_ms for wide in apart)
        for span in given_spans
    )
    assert all(
        second.from_ms - first.to_ms > JOIN_MS for first, second in pairwise(apart) if first.series == second.series
    )
    if any(span.series == series and span.from_ms <= moment <= span.to_ms for span in apart):
        assert any(
            span.series == series and span.from_ms - JOIN_MS <= moment <= span.to_ms + JOIN_MS for span in given_spans
        )


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
        set_cursor(connection, "mirror transitions", 1)
    queue = MirrorQueue(store, 5)
    assert queue.begin()
    assert not queue.begin()
    assert spans(store) == [ReadingSpan(1, NOW - 3 * DAY_MS, NOW), ReadingSpan(2, NOW - 9, NOW - 9)]
    assert queue.unsent() == Unsent(0, 2, 1, NOW - 3 * DAY_MS)
    alarm, readings = queue.portions(10, changes=True)
    assert [id for id, _ in alarm.transitions] == [1]
    assert times_of(readings) == [(1, NOW - 3 * DAY_MS), (1, NOW - 2 * DAY_MS), (1, NOW)]
    assert MirrorQueue(store, 6).begin()
    assert queue.begin()


def test_everything_in_portions_until_nothing_is_left(store: Store) -> None:
    stored = [(1 + n % 2, NOW + day * DAY_MS + n) for day in range(-3, 1) for n in range(10)]
    Appender(store).append([(series, at_ms, 1.0, 0) for series, at_ms in stored])
    settler = Settler(store)
    settler.begin(NOW - DAY_MS)
    while settler.slice():
        pass
    queue = MirrorQueue(store, 5)
    queue.begin()
    sizes, sent = [], []
    while queue.unsent().spans:
        portion = next_portion(queue, 7)
        times = times_of(portion)
        queue.sent(portion)
        sizes.append(len(times))
        sent += times
    assert sent == sorted(stored)
    # Full, though a day has five readings of each series.
    assert sizes == [7, 7, 6, 7, 7, 6]
    assert list(queue.portions(7, changes=True)) == []


def test_a_feed_that_was_pruned_without_the_mirror_is_noticed(store: Store, queue: MirrorQueue) -> None:
    appender = Appender(store)
    for step in range(3):
        appender.append([(1, NOW + step, 1.0, 0)])
    assert not queue.begin()
    with store.write() as connection:
        set_cursor(connection, "summaries", 1)
    while prune_feed(store, ("summaries",)):
        pass
    assert not queue.begin()
    with store.write() as connection:
        set_cursor(connection, "summaries", 3)
    while prune_feed(store, ("summaries",)):
        pass
    assert queue.begin()


def test_a_feed_that_was_pruned_as_far_as_the_mirror_came_still_holds(store: Store, queue: MirrorQueue) -> None:
    appender = Appender(store)
    for step in range(3):
        appender.append([(1, NOW + step, 1.0, 0)])
    queue.put_off_changes()
    while prune_feed(store, (MIRROR,)):
        pass
    assert not queue.begin()


def test_changes_move_the_cursor_only_when_they_are_sent(store: Store, queue: MirrorQueue) -> None:
    Appender(store).append([(1, NOW, 1.0, 0), (2, NOW, 1.0, 0)])
    portion = next_portion(queue, 10, changes=True)
    assert times_of(portion) == [(1, NOW), (2, NOW)]
    assert queue.unsent().behind == 2
    assert times_of(next_portion(queue, 10, changes=True)) == [(1, NOW), (2, NOW)]
    queue.sent(portion)
    assert queue.unsent() == Unsent(0, 0, 0, None)


def test_put_off_joins_and_moves_the_cursor(store: Store, queue: MirrorQueue) -> None:
    put_off(store, queue, (1, 0, 10), (2, 5, 6))
    put_off(store, queue, (1, 20, 30), (1, 10**8, 10**8 + 1))
    assert spans(store) == [ReadingSpan(1, 0, 30), ReadingSpan(1, 10**8, 10**8 + 1), ReadingSpan(2, 5, 6)]
    assert queue.unsent() == Unsent(0, 3, 0, 0)


def test_a_long_change_is_put_off(store: Store, queue: MirrorQueue) -> None:
    with store.write() as connection:
        touch(connection, [(1, NOW - 2 * DAY_MS, NOW), (2, NOW, NOW)])
    assert [portion.span for portion in queue.portions(10, changes=True)] == [(1, NOW - 2 * DAY_MS, NOW + 1)]
    assert queue.unsent() == Unsent(0, 2, 0, NOW - 2 * DAY_MS)


def test_a_span_shrinks_until_it_is_gone(store: Store, queue: MirrorQueue) -> None:
    Appender(store).append([(1, NOW + step, 1.0, 0) for step in range(5)])
    queue.put_off_changes()
    for left in ([ReadingSpan(1, NOW + 2, NOW + 4)], [ReadingSpan(1, NOW + 4, NOW + 4)], []):
        queue.sent(next_portion(queue, 2))
        assert spans(store) == left
    assert queue.unsent() == Unsent(0, 0, 0, None)


def test_a_span_without_readings_is_gone_at_once(store: Store, queue: MirrorQueue) -> None:
    put_off(store, queue, (1, 0, 10))
    portion = next_portion(queue, 2)
    assert times_of(portion) == []
    queue.sent(portion)
    assert spans(store) == []


def test_a_span_that_grew_meanwhile_keeps_what_came(store: Store, queue: MirrorQueue) -> None:
    put_off(store, queue, (1, 0, 10))
    portion = next_portion(queue, 2)
    put_off(store, queue, (1, 5, 99))
    queue.sent(portion)
    assert spans(store) == [ReadingSpan(1, 11, 99)]


def test_a_span_that_begins_elsewhere_now_is_not_shrunk(store: Store, queue: MirrorQueue) -> None:
    put_off(store, queue, (1, 10, 20))
    portion = next_portion(queue, 2)
    put_off(store, queue, (1, 5, 6))
    queue.sent(portion)
    assert spans(store) == [ReadingSpan(1, 5, 20)]


def test_refused_lines_are_kept_once_and_not_without_bound(store: Store, queue: MirrorQueue) -> None:
    queue.keep_refused([RefusedLine("again", 400, "first")], NOW)
    queue.keep_refused([RefusedLine(f"line {n}", 400, "no") for n in range(MOST_REFUSED + 20)], NOW)
    queue.keep_refused([RefusedLine("last", 422, "x" * 9999), RefusedLine("last", 400, "twice")], NOW + 1)
    rows = store.connection.execute("SELECT line, count FROM mirror_refused ORDER BY last_ms DESC").fetchall()
    assert len(rows) == MOST_REFUSED
    assert rows[0] == ("last", 2)
    assert "again" not in dict(rows)
    assert refused_lines(store)[0] == RefusedLine("last", 400, "twice")
