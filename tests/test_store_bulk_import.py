"""Bringing in readings: first one wins, settled or fresh; nothing is lost beside a daemon that appends and settles."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from a_store import NOW, declared, fill_up, make_room, new_store
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import StoreUnwritable
from ingest.reading import ESTIMATED
from ingest.store import Store
from ingest.store.change_feed import touched_after
from ingest.store.readings.block import Arrays
from ingest.store.readings.bulk_import import BulkImport, Piece
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import raw
from ingest.store.readings.settling import DAY_MS, Settler
from ingest.store.readings.summaries import CatchUp, summary
from ingest.store.readings.undated import Anchor, date_estimates, note_estimates

BASE_MS = NOW // DAY_MS * DAY_MS
Told = list[tuple[int, float]]


@pytest.fixture
def store(store: Store) -> Store:
    declare(store, [declared(gain=1.0), declared(probe="k2-pressure", place="K2", gain=1.0)], NOW)
    return store


def piece(told: Told, series: int = 1) -> Piece:
    times, numbers = zip(*told, strict=True) if told else ((), ())
    return Piece(
        series,
        Arrays(np.array(times, np.int64), np.array(numbers, np.float64), np.full(len(told), 8, np.uint16)),
    )


def settle(store: Store) -> None:
    settler = Settler(store)
    settler.begin(NOW + DAY_MS)
    while settler.slice():
        pass


def history(store: Store, series: int = 1) -> Told:
    return [(row.at_ms, row.value) for row in raw(store, series)]


def test_what_was_there_wins_and_the_second_time_nothing_changes(store: Store) -> None:
    appender = Appender(store)
    appender.append([(1, BASE_MS + 1000, 1.0, 0)])
    settle(store)
    appender.append([(1, BASE_MS + 2000, 2.0, 0)])
    told = [(BASE_MS + 3000, 9.0), (BASE_MS + 1000, 9.0), (BASE_MS + 2000, 9.0), (BASE_MS - 5, 9.0), (BASE_MS - 5, 8.0)]
    bulk_import = BulkImport(store, [1])
    bulk_import.take([piece(told)])
    assert history(store) == [(BASE_MS - 5, 9.0), (BASE_MS + 1000, 1.0), (BASE_MS + 2000, 2.0), (BASE_MS + 3000, 9.0)]
    imported = bulk_import.imported[1]
    assert (imported.new, imported.repeats) == (2, 3)
    assert (imported.from_ms, imported.to_ms) == (BASE_MS - 5, BASE_MS + 3000)
    feed = touched_after(store, 0)
    again = BulkImport(store, [1])
    again.take([piece(told)])
    assert (again.imported[1].new, again.imported[1].repeats) == (0, 5)
    assert touched_after(store, 0) == feed
    assert [touch[1:] for touch in feed[-2:]] == [(1, BASE_MS - 5, BASE_MS - 5), (1, BASE_MS + 3000, BASE_MS + 3000)]


def test_nothing_is_written_into_fresh_and_summaries_follow(store: Store) -> None:
    BulkImport(store, [1]).take([piece([(BASE_MS + step * 60_000, float(step)) for step in range(60)])])
    assert store.connection.execute("SELECT count(*) FROM fresh").fetchone() == (0,)
    following = CatchUp(store)
    while following.slice():
        pass
    made = summary(store, 1, BASE_MS, BASE_MS + DAY_MS, "hour")
    assert (made.readings.tolist(), made.low.tolist(), made.high.tolist()) == ([60], [0.0], [59.0])


_POINTS = st.lists(
    st.tuples(
        st.integers(-3 * 24, 24).map(lambda hour: BASE_MS + hour * 3_600_000), st.sampled_from([1.0, 2.5, 1 / 3])
    ),
    max_size=30,
)


@given(settled=_POINTS, fresh=_POINTS, told=st.lists(_POINTS, max_size=3))
def test_a_rehearsal_says_what_then_happens_and_history_equals_a_dictionary(
    settled: Told, fresh: Told, told: list[Told]
) -> None:
    with tempfile.TemporaryDirectory() as folder, new_store(Path(folder)) as store:
        declare(store, [declared(gain=1.0)], NOW)
        appender = Appender(store)
        appender.append([(1, at, number, 0) for at, number in settled])
        settle(store)
        appender.append([(1, at, number, 0) for at, number in fresh])
        model: dict[int, float] = {}
        for at, number in [*settled, *fresh, *(point for part in told for point in part)]:
            model.setdefault(at, number)
        before = history(store)
        rehearsal, bulk_import = BulkImport(store, [1], rehearse=True), BulkImport(store, [1])
        for part in told:
            rehearsal.take([piece(part)])
        assert history(store) == before
        for part in told:
            bulk_import.take([piece(part)])
        assert rehearsal.imported == bulk_import.imported
        assert history(store) == sorted(model.items())
        settle(store)
        assert history(store) == sorted(model.items())


class _Between:
    """Does something of another process's just before the bulk_import's transaction begins, once."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, store: Store, act: object) -> None:
        self.times = 0
        write = store.write

        def first_the_other() -> object:
            self.times += 1
            if self.times == 1:
                act()  # type: ignore[operator]  # a function without arguments
            return write()

        monkeypatch.setattr(store, "write", first_the_other)


@pytest.mark.parametrize("then_settled", [False, True])
def test_a_reading_that_arrives_meanwhile_came_first(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, then_settled: bool
) -> None:
    with new_store(tmp_path) as other:

        def act() -> None:
            Appender(other).append([(1, BASE_MS + 1000, 1.0, 0), (2, BASE_MS + 1000, 7.0, 0)])
            if then_settled:
                settle(other)

        bulk_import = BulkImport(store, [1, 2])
        between = _Between(monkeypatch, store, act)
        bulk_import.take([piece([(BASE_MS + 1000, 9.0), (BASE_MS + 2000, 9.0)]), piece([(BASE_MS + 5, 3.0)], 2)])
    assert between.times > 1
    assert history(store) == [(BASE_MS + 1000, 1.0), (BASE_MS + 2000, 9.0)]
    assert history(store, 2) == [(BASE_MS + 5, 3.0), (BASE_MS + 1000, 7.0)]
    settle(store)
    assert history(store) == [(BASE_MS + 1000, 1.0), (BASE_MS + 2000, 9.0)]
    assert (bulk_import.imported[1].new, bulk_import.imported[1].repeats, bulk_import.imported[2].new) == (1, 1, 1)


def test_a_daemon_that_settles_does_not_write_over_what_was_just_brought_in(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Appender(store).append([(1, BASE_MS + 1000, 1.0, 0)])
    with new_store(tmp_path) as other:
        _Between(monkeypatch, store, lambda: BulkImport(other, [1]).take([piece([(BASE_MS + 2000, 2.0)])]))
        settle(store)
    assert history(store) == [(BASE_MS + 1000, 1.0), (BASE_MS + 2000, 2.0)]
    settle(store)
    assert history(store) == [(BASE_MS + 1000, 1.0), (BASE_MS + 2000, 2.0)]
    assert store.connection.execute("SELECT count(*) FROM fresh").fetchone() == (0,)


def test_times_that_are_moved_meanwhile_are_seen(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    anchor = Anchor("boot", BASE_MS, 1.0)
    Appender(store).append(
        [(1, BASE_MS + 1000, 1.0, ESTIMATED | 1)], also=lambda connection: note_estimates(connection, anchor, 0)
    )
    with new_store(tmp_path) as other:
        bulk_import = BulkImport(store, [1])
        _Between(monkeypatch, store, lambda: date_estimates(other, anchor, 1000, NOW))
        bulk_import.take([piece([(BASE_MS + 2000, 9.0)])])
    assert history(store) == [(BASE_MS + 2000, 1.0)]
    assert (bulk_import.imported[1].new, bulk_import.imported[1].repeats) == (0, 1)


def test_a_full_disk_leaves_whole_days_and_the_next_try_does_the_rest(store: Store) -> None:
    chance = np.random.default_rng(1)
    told = [(BASE_MS + step * 600_000, float(chance.normal())) for step in range(144 * 40)]
    fill_up(store)
    bulk_import = BulkImport(store, [1])
    with pytest.raises(StoreUnwritable, match="disk does not take more"):
        bulk_import.take([piece(told)])
    make_room(store)
    assert len(history(store)) == bulk_import.imported[1].new
    BulkImport(store, [1]).take([piece(told)])
    assert history(store) == told


def test_the_lock_is_held_for_a_few_days_only(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[int] = []
    write = store.write

    def counted() -> object:
        written.append(1)
        return write()

    monkeypatch.setattr(store, "write", counted)
    BulkImport(store, [1]).take([piece([(BASE_MS - day * DAY_MS, 1.0) for day in range(100)])])
    assert len(written) == 7
