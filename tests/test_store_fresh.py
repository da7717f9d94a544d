"""Appending fresh readings, held against a plain list."""

from __future__ import annotations

import sqlite3
import tempfile
from itertools import pairwise
from pathlib import Path

import pytest
from a_store import NOW, fill_up, make_room
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import StoreUnwritable
from ingest.reading import Row
from ingest.store import Store, create_or_open
from ingest.store.change_feed import FED, set_cursor, touched_after, unfed
from ingest.store.readings.fresh import REMEMBERED, Appended, Appender, came_with
from ingest.store.readings.series_history import fresh_after, latest, newest, raw
from ingest.store.readings.settling import Settler
from ingest.store.readings.summaries import CatchUp, summary

SERIES = (1, 2, 3)


def _settle(store: Store, up_to: int) -> None:
    """Take rows from the front, as packing them away does."""
    with store.write() as connection:
        connection.execute("DELETE FROM fresh WHERE id <= ?", (up_to,))
        set_cursor(connection, "settled fresh", up_to)


# Few times, so that repeats and late rows are common; "reopen" and "full" happen between the batches.
_OFFERED = st.lists(st.tuples(st.sampled_from(SERIES), st.integers(0, 25)), max_size=12)
_STEPS = st.lists(st.one_of(_OFFERED, st.sampled_from(["reopen", "full"])), max_size=12)


@given(_STEPS)
def test_history_is_what_a_plain_list_would_hold(steps: list[list[tuple[int, int]] | str]) -> None:
    model: dict[tuple[int, int], float] = {}
    order: list[tuple[int, int, float]] = []
    number = 0.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "cellar.db"
        store = create_or_open(path, NOW)
        appender = Appender(store)
        try:
            for step in steps:
                if step == "reopen":
                    store.close()
                    store = create_or_open(path, NOW)
                    store.connection.execute("PRAGMA synchronous=OFF")
                    appender = Appender(store)
                    continue
                if isinstance(step, str):
                    fill_up(store)
                    rows = appender.choose([(1, NOW + len(order) * 1000 + extra, -1.0, 0) for extra in range(500)])
                    with pytest.raises(StoreUnwritable):
                        appender.commit(rows)
                    make_room(store)
                    appender.commit(rows)
                    model.update({(series, at): stored for series, at, stored, _ in rows})
                    order.extend((series, at, stored) for series, at, stored, _ in rows)
                    continue
                batch: list[Row] = []
                new = 0
                for series, at in step:
                    number += 1
                    batch.append((series, at, number, 0))
                    if (series, at) not in model:
                        model[series, at] = number
                        order.append((series, at, number))
                        new += 1
                assert appender.append(batch) == Appended(new, len(batch) - new, len(order))

            for series in SERIES:
                meant = sorted((at, stored) for (of, at), stored in model.items() if of == series)
                assert [(row.at_ms, row.value) for row in raw(store, series)] == meant
                last = [(at, stored) for of, at, stored in order if of == series][-3:]
                assert [(row.at_ms, row.value) for row in newest(store, series, 3)] == last
                found = latest(store, [series])
                assert [(row.at_ms, row.number) for row in found.values()] == meant[-1:]
            kept = fresh_after(store, 0, 100_000)
            assert [row[0] for row in kept] == list(range(1, len(order) + 1))
            assert [row[1:4] for row in kept] == order
            touched = touched_after(store, 0)
            assert [touch.seq for touch in touched] == list(range(1, len(touched) + 1))
            for series, at in model:
                assert any(touch.series == series and touch.from_ms <= at <= touch.to_ms for touch in touched)
        finally:
            store.close()


@given(st.lists(st.one_of(_OFFERED, st.just("reopen"), st.floats(0, 1)), max_size=14))
def test_ids_only_rise_whatever_was_settled(steps: list[list[tuple[int, int]] | str | float]) -> None:
    """A follower that reads on from the last id it saw gets each stored row, and each once."""
    followed = settled = 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "cellar.db"
        store = create_or_open(path, NOW)
        appender = Appender(store)
        try:
            for step in steps:
                if step == "reopen":
                    store.close()
                    store = create_or_open(path, NOW)
                    appender = Appender(store)
                elif isinstance(step, float):
                    settled += round((followed - settled) * step)
                    _settle(store, settled)
                elif isinstance(step, list):
                    stored = appender.append([(series, at, 0.0, 0) for series, at in step]).stored
                    rows = fresh_after(store, followed, 100_000)
                    assert [row[0] for row in rows] == list(range(followed + 1, followed + stored + 1))
                    followed += stored
        finally:
            store.close()


def test_after_all_rows_were_settled_a_restart_uses_no_id_again(store: Store) -> None:
    Appender(store).append([(1, at, 0.0, 0) for at in range(10)])
    _settle(store, 10)
    assert Appender(store).append([(1, 100, 0.0, 0)]).newest_id == 11


@pytest.mark.parametrize("count", [0, 1, 3, 511, 512, 513, 1024, 1537])
def test_a_batch_of_any_size_goes_in_whole_and_in_order(store: Store, count: int) -> None:
    rows = [(1, at, at / 2, at % 4) for at in range(count)]
    assert Appender(store).append(rows) == Appended(count, 0, count)
    assert store.connection.execute("SELECT series, at, number, quality FROM fresh ORDER BY id").fetchall() == rows


def test_a_commit_that_fails_keeps_the_rows_for_the_next(store: Store) -> None:
    appender = Appender(store)
    rows = appender.choose([(1, NOW + at, 1.0, 0) for at in range(1000)])
    fill_up(store)
    for _ in range(2):
        with pytest.raises(StoreUnwritable):
            appender.commit(rows)
        assert store.connection.execute("SELECT count(*) FROM fresh").fetchone() == (0,)
        assert touched_after(store, 0) == []
    make_room(store)
    assert appender.commit(rows) == 1000
    assert appender.append(rows) == Appended(0, 1000, 1000)
    assert store.connection.execute("SELECT count(*), count(DISTINCT at) FROM fresh").fetchone() == (1000, 1000)


def test_what_goes_with_a_commit_is_in_the_same_transaction(store: Store) -> None:
    appender = Appender(store)

    def breaks_off(connection: sqlite3.Connection) -> None:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        appender.append([(1, NOW, 1.0, 0)], breaks_off)
    assert store.connection.execute("SELECT count(*) FROM fresh").fetchone() == (0,)
    assert appender.append([], lambda connection: set_cursor(connection, "a", 1)).newest_id == 0
    assert store.connection.execute("SELECT name FROM cursor").fetchall() == [("a",), (FED,)]


def test_one_change_a_series_and_commit(store: Store) -> None:
    Appender(store).append([(1, 30, 0.0, 0), (2, 5, 0.0, 0), (1, 10, 0.0, 0), (1, 20, 0.0, 0)])
    assert [touch[1:] for touch in touched_after(store, 0)] == [(1, 10, 30), (2, 5, 5)]


def test_what_a_commit_left_out_of_the_feed_enters_with_a_later_one(store: Store) -> None:
    appender = Appender(store)
    appender.commit([(1, 30, 0.0, 0), (2, 5, 0.0, 0)], feed=False)
    appender.commit([(1, 20, 0.0, 0)], feed=False)
    assert touched_after(store, 0) == []
    assert sorted(unfed(store)) == [(1, 20, 30), (2, 5, 5)]
    appender.commit([(3, 7, 0.0, 0)])
    assert sorted(touch[1:] for touch in touched_after(store, 0)) == [(1, 20, 30), (2, 5, 5), (3, 7, 7)]
    assert unfed(store) == []
    appender.commit([(3, 8, 0.0, 0)])
    assert touched_after(store, 3) == [(4, 3, 8, 8)]


def test_a_crash_leaves_nothing_out_of_the_feed(store: Store) -> None:
    appender = Appender(store)
    appender.append([(1, 10, 0.0, 0)])
    appender.commit([(1, 30, 0.0, 0), (2, 5, 0.0, 0)], feed=False)
    again = Appender(store)
    again.commit([], lambda connection: None)
    assert sorted(touch[1:] for touch in touched_after(store, 1)) == [(1, 30, 30), (2, 5, 5)]


def test_a_late_reading_is_a_change_of_its_own_day(store: Store) -> None:
    """Who follows the feed goes through all that a change covers."""
    day = 86_400_000
    appender = Appender(store)
    appender.commit([(1, 5, 0.0, 0), (1, 400 * day, 0.0, 0)], feed=False)
    again = Appender(store)
    again.commit([(1, 9, 0.0, 0), (1, 400 * day + 1, 0.0, 0)])
    assert sorted(touch[1:] for touch in touched_after(store, 0)) == [(1, 5, 9), (1, 400 * day, 400 * day + 1)]


def test_a_row_to_be_confirmed_that_is_gone_leaves_no_later_row_out_of_the_feed(store: Store) -> None:
    appender = Appender(store)
    appender.commit([(1, 10, 0.0, 0)], confirmed=[77])
    again = Appender(store)
    again.commit([(1, 20, 0.0, 0)], feed=False)
    assert unfed(store) == [(1, 20, 20)]
    # As after a kill.
    Appender(store).commit([], lambda connection: None)
    assert [touch[1:] for touch in touched_after(store, 0)] == [(1, 10, 10), (1, 20, 20)]


def test_what_is_not_in_the_feed_is_summed_up_all_the_same_and_not_settled(store: Store) -> None:
    appender = Appender(store)
    appender.append([(1, 60_000, 1.0, 0)])
    following = CatchUp(store)
    while following.slice():
        pass
    appender.commit([(1, 120_000, 2.0, 0)], feed=False)
    assert summary(store, 1, 0, 300_000, "minute").readings.tolist() == [1, 1]
    settler = Settler(store)
    settler.begin(86_400_000)
    while settler.slice():
        pass
    assert store.connection.execute("SELECT at FROM fresh").fetchall() == [(120_000,)]


def test_a_bare_number_stays_until_the_broker_cannot_send_it_again(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.store.readings.fresh.REMEMBERED_IDS", 3)
    monkeypatch.setattr("ingest.store.readings.fresh.REBUILD_ROWS", 100)
    appender = Appender(store)

    def left(at: int, came: dict[int, int]) -> list[tuple[int]]:
        appender.commit([(1, at, 0.0, 0)], came=came)
        settler = Settler(store)
        settler.begin(86_400_000)
        while settler.slice():
            pass
        return store.connection.execute("SELECT at FROM fresh").fetchall()

    assert left(1, {0: came_with(7, 99)}) == [(1,)]
    # Those of serial lines do not push it out ...
    for at in range(2, 10):
        assert left(at, {}) == [(1,)]
    assert appender.delivered() == {7: 99}
    # ... three others of the broker's do, ...
    assert left(10, {0: came_with(8, 99)}) == [(1,), (10,)]
    assert left(11, {0: came_with(9, 99)}) == [(1,), (10,), (11,)]
    assert left(12, {0: came_with(10, 99)}) == [(10,), (11,), (12,)]
    assert appender.delivered() == {8: 99, 9: 99, 10: 99}
    # ... and so does a long time.
    appender.append([(2, at, 0.0, 0) for at in range(97)])
    assert left(13, {}) == [(11,), (12,)]
    assert appender.delivered() == {9: 99, 10: 99}


@given(st.lists(st.integers(-50, 50), min_size=1, max_size=40))
def test_stamps_strictly_rise_however_the_clock_goes(arrivals: list[int]) -> None:
    with tempfile.TemporaryDirectory() as folder, create_or_open(Path(folder) / "cellar.db", NOW) as store:
        appender = Appender(store)
        stamps = []
        for count, arrival in enumerate(arrivals):
            if count % 7 == 6:
                appender = Appender(store)
            stamp = appender.stamp(1, NOW + arrival)
            assert appender.append([(1, stamp, 0.0, 0)]).stored == 1
            assert stamp >= NOW + arrival
            stamps.append(stamp)
        assert all(earlier < later for earlier, later in pairwise(stamps))
        assert stamps[0] == NOW + arrivals[0]


def test_a_stamp_follows_a_reading_that_is_older_than_what_is_remembered(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    with store.write() as connection:
        connection.execute("INSERT INTO series (id, probe, place, quantity, begun_ms) VALUES (1, 'p', 'K1', 'pH', 0)")
    appender = Appender(store)
    appender.append([(1, NOW, 0.0, 0)])
    appender.append([(2, NOW + at, 0.0, 0) for at in range(50)])
    monkeypatch.setattr("ingest.store.readings.fresh.REBUILD_ROWS", 10)
    again = Appender(store)
    assert again.stamp(1, NOW - 5) == NOW + 1
    assert again.append([(1, NOW, 9.0, 0)]).stored == 0


def test_a_repeat_from_before_memory_is_stored_and_the_first_still_counts(store: Store) -> None:
    appender = Appender(store)
    appender.append([(1, at, 1.0, 0) for at in range(2 * REMEMBERED + 1)])
    assert appender.append([(1, 5, 2.0, 0)]).stored == 1
    assert [(row.at_ms, row.value) for row in raw(store, 1, 4, 7)] == [(4, 1.0), (5, 1.0), (6, 1.0)]
    assert appender.append([(1, REMEMBERED + 1, 2.0, 0)]).stored == 0
