"""Readings in the spans of a chart: however long they are, no extreme is lost, and the means weigh every reading."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from a_store import NOW, declared, new_store
from hypothesis import given
from hypothesis import strategies as st

from ingest.history import OfProbe, buckets_of, history_sources
from ingest.reading import Quality, Reason, quality_code
from ingest.store.readings.downsampling import BUCKETS_MS
from ingest.store.readings.fresh import Appender
from ingest.store.readings.retention import drop_old
from ingest.store.readings.series import declare
from ingest.store.readings.settling import DAY_MS, Settler
from ingest.store.readings.summaries import CatchUp
from ingest.store.readings.summary import LEVELS

BAD = quality_code(Quality.BAD, Reason.FAULT)
BASE_MS = NOW // DAY_MS * DAY_MS

_reading = st.tuples(
    st.integers(0, 40 * DAY_MS),
    st.integers(-500, 500).map(lambda number: number / 8),  # eighths: sums have no rounding
    st.sampled_from([0, 0, 0, 0, 1, BAD]),
)


@given(
    readings=st.lists(_reading, min_size=1, max_size=60, unique_by=lambda each: each[0]),
    begin_ms=st.integers(-DAY_MS, 30 * DAY_MS),
    length_ms=st.integers(1, 45 * DAY_MS),
    most=st.integers(1, 500),
    settled=st.booleans(),
    followed=st.booleans(),
)
def test_each_row_has_the_lowest_mean_and_highest_of_all_readings_in_it(
    readings: list[tuple[int, float, int]], begin_ms: int, length_ms: int, most: int, settled: bool, followed: bool
) -> None:
    with tempfile.TemporaryDirectory() as folder, new_store(Path(folder)) as store:
        series = declare(store, [declared(gain=1.0, unit="kPa")], BASE_MS)["k1-pressure"]
        rows = sorted((series, BASE_MS + after_ms, number, quality) for after_ms, number, quality in readings)
        Appender(store).append(rows)
        if settled:
            settler = Settler(store)
            settler.begin(BASE_MS + 50 * DAY_MS)
            while settler.slice():
                pass
        if followed:
            following = CatchUp(store)
            while following.slice():
                pass
        from_ms, to_ms = BASE_MS + begin_ms, BASE_MS + begin_ms + length_ms
        made = buckets_of(store, history_sources(store, OfProbe("k1-pressure")), from_ms, to_ms, most)
    assert made.span_ms in BUCKETS_MS
    assert made.span_ms * most >= length_ms or made.span_ms == BUCKETS_MS[-1]
    expected: dict[int, list[tuple[float, int]]] = {}
    for _, at_ms, number, quality in rows:
        span = at_ms // made.span_ms
        if from_ms // made.span_ms <= span <= (to_ms - 1) // made.span_ms:
            expected.setdefault(span * made.span_ms, []).append((number, quality & 3))
    columns = [] if not made.sources else list(zip(*(column.tolist() for column in made.sources[0].rows), strict=True))
    assert [row[0] for row in columns] == sorted(expected)
    for from_row_ms, count, low, high, mean, first, last, worst in columns:
        inside = expected[from_row_ms]
        values = [number for number, quality in inside if quality < 2]
        assert (count, worst) == (len(values), max(quality for _, quality in inside))
        if values:
            assert (low, high, first, last) == (min(values), max(values), values[0], values[-1])
            assert mean == pytest.approx(sum(values) / len(values), abs=1e-9)
        else:
            assert np.isnan([low, high, mean, first, last]).all()


def test_of_dropped_days_the_summaries_that_are_left_stand_in(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        series = declare(store, [declared(gain=1.0, unit="kPa")], BASE_MS)["k1-pressure"]
        every_ms = 600_000
        Appender(store).append(
            [(series, BASE_MS + step * every_ms, float(step % 7), 0) for step in range(3 * DAY_MS // every_ms)]
        )
        settler = Settler(store)
        settler.begin(BASE_MS + 40 * DAY_MS)
        while settler.slice():
            pass
        following = CatchUp(store)
        while following.slice():
            pass
        day_s = DAY_MS / 1000
        while drop_old(store, BASE_MS + 60 * DAY_MS, 30 * day_s, 40 * day_s, None):
            pass
        sources = history_sources(store, OfProbe("k1-pressure"))
        made = buckets_of(store, sources, BASE_MS, BASE_MS + DAY_MS, 100)
        (read,) = made.sources
        assert set(np.diff(read.rows.from_ms).tolist()) == {LEVELS["hour"]}
        assert (read.rows.low.min(), read.rows.high.max()) == (0.0, 6.0)


def test_an_empty_span_or_no_rows_are_a_mistake_of_the_caller(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        for from_ms, to_ms, most in ((5, 5, 10), (6, 5, 10), (0, 10, 0)):
            with pytest.raises(ValueError, match="at least 1 is needed"):
                buckets_of(store, (), from_ms, to_ms, most)
