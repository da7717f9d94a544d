"""Reading for followers: a long span a day at a time, many short spans in one look; both as ``arrays`` reads them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from a_mirror import mirrored_store, settled
from a_store import NOW
from hypothesis import given
from hypothesis import strategies as st

from ingest.reading import Part
from ingest.store import Store
from ingest.store.readings.block import Arrays
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import add_part
from ingest.store.readings.series_history import arrays, pieces, together
from ingest.store.readings.settling import DAY_MS

BASE_MS = NOW // DAY_MS * DAY_MS


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """Three series over three days, with settled and fresh readings mixed, repeats, and a scale that changed."""
    with mirrored_store(tmp_path_factory.mktemp("store"), probes=3) as opened:
        appender = Appender(opened)
        for series in (1, 2, 3):
            appender.append([(series, BASE_MS + n * 600_000, n / 8, n % 3) for n in range(0, 430, series)])
        settled(opened, BASE_MS + 2 * DAY_MS)
        appender.append([(1, BASE_MS + 5, -1.0, 0), (2, BASE_MS + 3 * DAY_MS + 7, 9.0, 0)])
        # The same again, as an old message that is sent once more: the first counts.
        with opened.write() as connection:
            connection.execute(
                "INSERT INTO fresh (id, series, at, number, quality) VALUES (99999, 1, ?, 77.0, 0)", (BASE_MS,)
            )
            add_part(connection, 1, Part(BASE_MS + DAY_MS, "calibration", 2.0, 1.0, "kPa", "Ana"), NOW)
        yield opened


def same(first: Arrays, second: Arrays) -> bool:
    return (
        np.array_equal(first.at_ms, second.at_ms)
        and np.array_equal(first.number, second.number)
        and np.array_equal(first.quality, second.quality)
    )


def test_a_long_span_comes_a_day_at_a_time(store: Store) -> None:
    days = list(pieces(store, 1, BASE_MS + 500, BASE_MS + 3 * DAY_MS))
    assert len(days) >= 3
    assert max(np.ptp(day.at_ms) for day in days) < DAY_MS
    assert same(Arrays.joined(days), arrays(store, 1, BASE_MS + 500, BASE_MS + 3 * DAY_MS))
    assert list(pieces(store, 1, 0, 5)) == []


_SPAN = st.tuples(st.sampled_from([1, 2, 3]), st.integers(-10, 4 * 1440), st.sampled_from([0, 1, 600_000, 9_000_000]))


@given(st.lists(_SPAN, max_size=5))
def test_many_spans_in_one_look_are_what_each_is_alone(store: Store, wanted: list[tuple[int, int, int]]) -> None:
    spans = [(series, BASE_MS + minute * 60_000, BASE_MS + minute * 60_000 + long) for series, minute, long in wanted]
    alone = [(series, arrays(store, series, begin, end + 1)) for series, begin, end in spans]
    found = list(together(store, spans))
    filled = [(series, each) for series, each in alone if len(each.at_ms)]
    assert [series for series, _ in found] == [series for series, _ in filled]
    assert all(same(one, other) for (_, one), (_, other) in zip(found, filled, strict=True))
