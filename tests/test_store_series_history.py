"""Reading readings back."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_store import NOW, declared, new_store

from ingest.reading import Quality, Reading, Reason, quality_code
from ingest.store import Store
from ingest.store.change_feed import DAY_MS, FED, set_cursor
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import (
    HistoryRow,
    first_fresh_since,
    fresh_after,
    latest,
    newest,
    newest_judged,
    raw,
    recent,
)
from ingest.store.readings.settling import Settler

BAD = quality_code(Quality.BAD, Reason.OUT_OF_RANGE)


@pytest.fixture
def store(store: Store) -> Store:
    declare(store, [declared(), declared(probe="k1-temperature", quantity="temperature", gain=1, unit="degC")], 0)
    Appender(store).append([(1, 10, 1.0, 0), (2, 10, 12.0, 0), (1, 30, 3.0, BAD), (1, 20, 2.0, 0), (2, 40, 12.5, 0)])
    return store


def test_a_span_has_its_begin_and_not_its_end(store: Store) -> None:
    assert [row.at_ms for row in raw(store, 1, 10, 30)] == [10, 20]
    assert [row.at_ms for row in raw(store, 1, 11)] == [20, 30]
    assert list(raw(store, 9)) == []


def test_values_are_in_our_unit_and_keep_their_quality(store: Store) -> None:
    assert list(raw(store, 1)) == [
        HistoryRow(10, 6.894757, 0),
        HistoryRow(20, 2 * 6.894757, 0),
        HistoryRow(30, 3 * 6.894757, BAD),
    ]


def test_the_newest_by_time_and_by_storing(store: Store) -> None:
    assert latest(store, [1, 2, 9]) == {1: Reading(1, 30, 3.0, BAD), 2: Reading(2, 40, 12.5, 0)}
    assert latest(store, []) == {}
    assert [row.at_ms for row in newest(store, 1, 2)] == [30, 20]
    assert newest(store, 9, 2) == []


def test_recent_readings_are_those_of_the_span_among_the_newest_rows(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert recent(store, 1, 11) == list(raw(store, 1, 11))
    assert recent(store, 1, 0) == list(raw(store, 1))
    assert recent(store, 9, 0) == []
    monkeypatch.setattr("ingest.store.readings.series_history.LOOKED_BACK", 3)
    assert [row.at_ms for row in recent(store, 1, 0)] == [20, 30]
    monkeypatch.setattr("ingest.store.readings.series_history.LOOKED_BACK", 40)
    assert [row.at_ms for row in recent(store, 2, 35)] == [40]
    assert [row.at_ms for row in recent(store, 1, 15)] == [20, 30]


def test_following_the_stored_rows(store: Store) -> None:
    assert [row[0] for row in fresh_after(store, 0, 2)] == [1, 2]
    assert fresh_after(store, 4, 10) == [(5, 2, 40, 12.5, 0)]
    assert fresh_after(store, 5, 10) == []


def test_where_a_follower_without_a_past_begins(store: Store) -> None:
    assert first_fresh_since(store, 0) == 0
    assert first_fresh_since(store, 25) == 2
    assert first_fresh_since(store, 40) == 4
    assert first_fresh_since(store, 41) == 5


def test_how_far_each_series_was_judged(store: Store) -> None:
    def times(last_id: int, until_ms: int = NOW) -> dict[int, int]:
        readings = newest_judged(store, [1, 2], last_id, until_ms)
        return {series: reading.at_ms for series, reading in readings.items()}

    assert times(0) == {}
    assert times(3) == {1: 30, 2: 10}
    assert times(5) == {1: 30, 2: 40}
    assert times(5, until_ms=39) == {1: 30, 2: 10}, "what is of a later time does not count"
    imported = quality_code(Quality.GOOD, Reason.IMPORTED)
    Appender(store).append([(1, 50, 3.0, imported)])
    assert times(6) == {1: 30, 2: 40}, "imported ones are not judged"


def test_how_far_a_settled_series_was_judged(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    imported = quality_code(Quality.GOOD, Reason.IMPORTED)
    appender = Appender(store)
    appender.append([(1, DAY_MS + 5, 7.0, 0), (1, DAY_MS + 6, 8.0, imported), (1, 2 * DAY_MS, 9.0, imported)])
    with store.write() as connection:
        set_cursor(connection, FED, appender.newest_id)
    settler = Settler(store)
    settler.begin(3 * DAY_MS)
    while settler.slice():
        pass
    assert fresh_after(store, 0, 10) == []
    assert newest_judged(store, [1], appender.newest_id, NOW) == {1: Reading(1, DAY_MS + 5, 7.0, 0)}


def test_a_reading_behind_many_others_is_found(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ingest.store.readings.series_history.LOOKED_BACK", 1)
    assert newest_judged(store, [1], 5, NOW)[1].at_ms == 30


def test_a_new_store_has_no_readings(tmp_path: Path) -> None:
    (tmp_path / "new").mkdir()
    with new_store(tmp_path / "new") as store:
        assert first_fresh_since(store, NOW) == 0
        assert latest(store, [1]) == {}


def test_the_view_shows_our_units_and_words(store: Store) -> None:
    Appender(store).append([(1, NOW + 7, 8.0, quality_code(Quality.UNCERTAIN, Reason.BACKLOG))])
    rows = store.connection.execute("SELECT * FROM fresh_reading WHERE probe = 'k1-pressure'").fetchall()
    assert rows == [
        ("1970-01-01T00:00:00.010Z", "k1-pressure", "K1", "pressure", 6.894757, 1.0, "good"),
        ("1970-01-01T00:00:00.030Z", "k1-pressure", "K1", "pressure", 3 * 6.894757, 3.0, "bad"),
        ("1970-01-01T00:00:00.020Z", "k1-pressure", "K1", "pressure", 2 * 6.894757, 2.0, "good"),
        ("2026-11-25T18:30:00.007Z", "k1-pressure", "K1", "pressure", 8 * 6.894757, 8.0, "uncertain"),
    ]
