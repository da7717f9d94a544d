"""The newest fresh readings by their own time: found among the last rows, or else in the whole table."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from a_store import declared, new_store
from hypothesis import given
from hypothesis import strategies as st

from ingest.reading import Quality, Reading, Reason, quality_code
from ingest.store import Store
from ingest.store.change_feed import FED, set_cursor
from ingest.store.readings import newest_fresh as module
from ingest.store.readings.fresh import Appender
from ingest.store.readings.newest_fresh import newest_fresh
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import newest_good, raw
from ingest.store.readings.settling import DAY_MS, Settler
from ingest.times import END_OF_TIME_MS

BAD = quality_code(Quality.BAD, Reason.OUT_OF_RANGE)
SERIES = (1, 2, 3)
Row = tuple[int, int, float, int]


@pytest.fixture(autouse=True)
def _small(monkeypatch: pytest.MonkeyPatch) -> None:
    """A table of a few rows is long."""
    monkeypatch.setattr(module, "_LAST_ROWS", (3, 12))
    monkeypatch.setattr(module, "_JUST_BEFORE", 4)
    monkeypatch.setattr(module, "_AT_A_PLACE", 0)


@pytest.fixture
def looks(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The ids after which was looked, of each look at rows."""
    seen: list[int] = []
    newest = module._newest

    def noted(store: Store, wanted: object, until_ms: int, after_id: int, least: Quality) -> dict[int, Reading]:
        seen.append(after_id)
        return newest(store, wanted, until_ms, after_id, least)  # type: ignore[arg-type]

    monkeypatch.setattr(module, "_newest", noted)
    return seen


def kept(store: Store, rows: list[Row]) -> Store:
    declare(store, [declared(probe=f"p{series}", gain=1.0, unit="kPa") for series in SERIES], 0)
    Appender(store).append(rows)
    return store


def minutes(count: int, *series: int, begin: int = 0) -> list[Row]:
    return [(each, 60_000 * minute, float(minute), 0) for minute in range(begin, begin + count) for each in series]


def times(store: Store, until_ms: int = END_OF_TIME_MS, least: Quality = Quality.BAD) -> dict[int, int]:
    return {series: each.at_ms // 60_000 for series, each in newest_fresh(store, SERIES, until_ms, least=least).items()}


def test_what_reads_often_is_found_among_the_last_rows(store: Store, looks: list[int]) -> None:
    kept(store, minutes(20, *SERIES))
    assert times(store) == {1: 19, 2: 19, 3: 19}
    assert looks == [57]


def test_what_reads_seldom_is_found_further_back(store: Store, looks: list[int]) -> None:
    kept(store, [*minutes(40, 1), *minutes(1, 2, begin=40), *minutes(9, 1, begin=41)])
    assert times(store) == {1: 49, 2: 40}
    assert looks == [47, 38, -1], "and all of the table is looked through for what never read"
    looks.clear()
    assert set(newest_fresh(store, [1, 2], END_OF_TIME_MS)) == {1, 2}
    assert looks == [47, 38]


def test_a_backlog_does_not_hide_the_reading_before_it(store: Store) -> None:
    kept(store, [*minutes(30, 1, 2, begin=100), *minutes(30, 1)])
    assert times(store) == {1: 129, 2: 129}


def test_a_reading_of_a_time_to_come_does_not_count(store: Store) -> None:
    kept(store, [*minutes(30, 1, 2), (1, 9_000_000, 1.0, 0), *minutes(10, 1, 2, begin=30)])
    assert times(store, until_ms=3_000_000) == {1: 39, 2: 39}
    assert times(store) == {1: 150, 2: 39}
    assert times(store, until_ms=600_000) == {1: 10, 2: 10}, "nor at a time that has passed"


def test_only_good_ones_where_they_are_asked_for(store: Store, looks: list[int]) -> None:
    kept(store, [*minutes(40, 1, 2), (1, 2_400_000, 40.0, BAD), (1, 2_460_000, 41.0, BAD)])
    assert times(store)[1] == 41
    looks.clear()
    assert times(store, least=Quality.GOOD) == {1: 39, 2: 39}
    assert looks[0] == 79


_rows = st.lists(
    st.tuples(st.sampled_from(SERIES), st.integers(0, 60), st.sampled_from([0, 0, 0, BAD])), min_size=1, max_size=80
)


@given(_rows, st.integers(0, 61), st.sampled_from([Quality.GOOD, Quality.BAD]))
def test_where_all_rows_are_sampled_it_is_the_newest_whatever_their_order(
    drawn: list[tuple[int, int, int]], until_ms: int, least: Quality
) -> None:
    with pytest.MonkeyPatch.context() as patched, tempfile.TemporaryDirectory() as folder:
        patched.setattr(module, "_LAST_ROWS", (2, 6))
        patched.setattr(module, "_PLACES", 1000)
        with new_store(Path(folder)) as store:
            declare(store, [declared(probe=f"p{series}", gain=1.0, unit="kPa") for series in SERIES], 0)
            with store.write() as connection:
                connection.executemany("INSERT INTO fresh (series, at, number, quality) VALUES (?, ?, 1.0, ?)", drawn)
            found = newest_fresh(store, SERIES, until_ms, least=least)
    expected: dict[int, int] = {}
    for series, at_ms, quality in drawn:
        if at_ms <= until_ms and quality & 3 <= least:
            expected[series] = max(at_ms, expected.get(series, 0))
    assert {series: reading.at_ms for series, reading in found.items()} == expected


_moment = st.integers(0, 3 * DAY_MS)
_of_one = st.lists(st.tuples(_moment, st.sampled_from([0, BAD])), max_size=30, unique_by=lambda row: row[0])


@given(_of_one, st.data())
def test_the_newest_good_one_of_a_span_settled_or_not(drawn: list[tuple[int, int]], data: st.DataObject) -> None:
    settled_ms, from_ms = data.draw(_moment), data.draw(_moment)
    until_ms = data.draw(st.integers(from_ms, 3 * DAY_MS))
    with tempfile.TemporaryDirectory() as folder, new_store(Path(folder)) as store:
        kept(store, [(1, at_ms, at_ms / 8, quality) for at_ms, quality in drawn])
        with store.write() as connection:
            set_cursor(connection, FED, len(drawn))
        settler = Settler(store)
        settler.begin(settled_ms)
        while settler.slice():
            pass
        good = [row for row in raw(store, 1, from_ms, until_ms + 1) if row.quality == 0]
        assert newest_good(store, 1, from_ms, until_ms) == (good[-1] if good else None)
