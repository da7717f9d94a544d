"""What a series read about a time ago."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_store import NOW, declared, new_store
from hypothesis import given
from hypothesis import strategies as st

from ingest.reading import Quality, Reason, quality_code
from ingest.store import Store
from ingest.store.readings.earlier import Earlier
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.settling import Settler
from ingest.store.readings.summaries import CatchUp

HOUR_MS = 3_600_000
MINUTE_MS = 60_000
PSI = 6.894757


def filled(store: Store, hours: int) -> list[int]:
    """A reading a minute of three probes until now: 1 psi for the hour before now, 2 for the one before ..."""
    series = [
        declare(store, [declared(probe=f"k{number}-pressure", place=f"K{number}")], NOW)[f"k{number}-pressure"]
        for number in (1, 2, 3)
    ]
    rows = [
        (each, NOW - age * MINUTE_MS, float(1 + age // 60), 0)
        for age in range(hours * 60 - 1, -1, -1)
        for each in series
    ]
    Appender(store).append(rows)
    return series


def at(store: Store, ago_ms: int, within_ms: int = HOUR_MS) -> Earlier:
    return Earlier(store, NOW - ago_ms, within_ms)


def test_the_newest_reading_before_the_time_counts_of_each_series(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        series = filled(store, 5)
        hour, three = at(store, HOUR_MS), at(store, 3 * HOUR_MS)
        assert [hour.value(each) for each in series] == [pytest.approx(2 * PSI)] * 3
        assert [three.value(each) for each in series] == [pytest.approx(4 * PSI)] * 3


def test_nothing_is_given_where_nothing_good_was_read_about_that_time(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        (series, *_) = filled(store, 2)
        assert at(store, 3 * HOUR_MS).value(series) is None
        assert at(store, 2 * HOUR_MS, MINUTE_MS // 2).value(series) is None
        assert at(store, 0).value(999) is None
    (tmp_path / "empty").mkdir()
    with new_store(tmp_path / "empty") as store:
        assert at(store, HOUR_MS).value(1) is None


def test_a_bad_or_late_reading_does_not_count(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        (series,) = declare(store, [declared()], NOW).values()
        doubtful = (quality_code(Quality.BAD, Reason.RAIL), quality_code(Quality.UNCERTAIN, Reason.BACKLOG))
        Appender(store).append([(series, NOW - HOUR_MS - 1000, 8.0, 0)])
        Appender(store).append([(series, NOW - HOUR_MS - 500 + code, 99.0, code) for code in doubtful])
        assert at(store, HOUR_MS).value(series) == pytest.approx(8 * PSI)


def test_of_settled_readings_the_mean_of_the_hour_is_given(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        (series, *_) = filled(store, 30)
        settler, summaries = Settler(store), CatchUp(store)
        settler.begin(NOW - 2 * HOUR_MS)
        while settler.slice():
            pass
        while summaries.slice():
            pass
        # NOW is at half past an hour: the clock's hour of a day ago holds half an hour of 24 psi and as much of 25.
        assert at(store, 24 * HOUR_MS).value(series) == pytest.approx(24.5 * PSI, rel=0.001)
        assert at(store, HOUR_MS).value(series) == pytest.approx(2 * PSI)


@given(st.lists(st.integers(0, 300), min_size=1, max_size=40), st.integers(0, 300))
def test_readings_in_any_order_never_give_one_of_another_time(
    tmp_path_factory: pytest.TempPathFactory, ages: list[int], ago: int
) -> None:
    with new_store(tmp_path_factory.mktemp("earlier")) as store:
        (series,) = declare(store, [declared(unit="kPa", gain=1.0)], NOW).values()
        Appender(store).append([(series, NOW - age * 1000, float(age), 0) for age in ages])
        value = at(store, ago * 1000, 60_000).value(series)
    assert value is None or ago <= value < ago + 60
    if ages == sorted(ages, reverse=True):
        assert value == min((float(age) for age in ages if ago <= age < ago + 60), default=None)
