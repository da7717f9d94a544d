"""Summaries of several series at once, followed and settled or not."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from a_store import declared, new_store
from hypothesis import given
from hypothesis import strategies as st

from ingest.reading import Quality, Reason, quality_code
from ingest.store import Store
from ingest.store.change_feed import FED, set_cursor, touch
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import arrays
from ingest.store.readings.settling import DAY_MS, Settler
from ingest.store.readings.summaries import CatchUp, summaries, summary
from ingest.store.readings.summary import LEVELS, Level, Summary, summarise

BAD = quality_code(Quality.BAD, Reason.FAULT)
SERIES = range(1, 8)  # more than are read together

_readings = st.lists(
    st.tuples(
        st.sampled_from(SERIES),
        st.integers(0, 6 * DAY_MS),
        st.integers(-500, 500).map(lambda number: number / 8),  # eighths: sums have no rounding
        st.sampled_from([0, 0, 1, BAD]),
    ),
    max_size=60,
    unique_by=lambda row: row[:2],
)


def hold(store: Store, from_ms: int, to_ms: int, level: Level) -> None:
    """One by one and together are what the readings are."""
    together = dict(summaries(store, SERIES, from_ms, to_ms, level))
    assert list(together) == [*SERIES]
    for series in SERIES:
        expected = summarise(arrays(store, series), LEVELS[level]).between(from_ms, to_ms)
        for made in (summary(store, series, from_ms, to_ms, level), together[series]):
            _same(made, expected)


def _same(made: Summary, expected: Summary) -> None:
    for name, mine, theirs in zip(Summary._fields, made, expected, strict=True):
        np.testing.assert_array_equal(mine, theirs, err_msg=name)


@given(
    before=_readings,
    later=_readings,
    level=st.sampled_from(["minute", "hour", "day"]),
    begin_ms=st.integers(-DAY_MS, 6 * DAY_MS),
    days=st.integers(0, 2000),
    settled=st.booleans(),
    followed=st.booleans(),
    rescaled=st.booleans(),
)
def test_each_is_what_its_readings_are(
    before: list[tuple[int, int, float, int]],
    later: list[tuple[int, int, float, int]],
    level: Level,
    begin_ms: int,
    days: int,
    settled: bool,
    followed: bool,
    rescaled: bool,
) -> None:
    with tempfile.TemporaryDirectory() as folder, new_store(Path(folder)) as store:
        declare(store, [declared(probe=f"p{series}", gain=1.0, unit="kPa") for series in SERIES], 0)
        appender = Appender(store)
        appender.append(sorted(before, key=lambda row: row[1]))
        with store.write() as connection:
            set_cursor(connection, FED, appender.newest_id)
            touch(connection, [(series, at_ms, at_ms) for series, at_ms, _, _ in before])
        if settled:
            settler = Settler(store)
            settler.begin(4 * DAY_MS)
            while settler.slice():
                pass
        if followed:
            following = CatchUp(store)
            while following.slice():
                pass
        appender.append(sorted(later, key=lambda row: row[1]))
        if rescaled:
            with store.write() as connection:
                touch(connection, [(series, 0, 10_000 * DAY_MS) for series in SERIES])
        hold(store, begin_ms, begin_ms + days * DAY_MS, level)
