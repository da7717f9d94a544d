"""The small picture of a probe's last day: nothing of the day is lost, and limits lie where they are."""

from __future__ import annotations

import re

from a_cellar_on_disk import NOW, CellarOnDisk
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import a_limit

from alerts.page.cellar.trend_drawing import HEIGHT, WIDTH, draw_trend
from alerts.view.places.day_trend import DAY_MS, SPAN_MS, DayTrend, day_trends
from ingest.cellar import EffectiveLimit

DAY = DayTrend(0, tuple(range(96)), tuple([54.0] * 95 + [20.0]), tuple([56.0] * 96))


def outlines(band: str) -> list[list[tuple[float, float]]]:
    """The corners of each part of a path, in the picture's units."""
    parts = []
    for begin, steps in re.findall(r"M([-\d ]+)l([-\d ]*)z", band):
        numbers = [int(number) for number in f"{begin} {steps}".split()]
        x = y = 0
        corners = []
        for step_x, step_y in zip(numbers[::2], numbers[1::2], strict=True):
            x, y = x + step_x, y + step_y
            corners.append((x / 10, y / 10))
        parts.append(corners)
    return parts


def test_the_day_has_the_lowest_and_highest_of_each_quarter_hour(on_disk: CellarOnDisk) -> None:
    for minutes, value in ((1441, 99.0), (700, 50.0), (698, 70.0), (5, 60.0), (0.5, 58.0)):
        on_disk.reading("k1-pressure", value, 60 * minutes)
    on_disk.reading("k1-pressure", 500.0, 600, 2)  # bad: it is no extreme
    ((_, trend),) = day_trends(on_disk.store, [on_disk.series["k1-pressure"]], NOW)
    assert trend.lowest == 50.0
    assert trend.highest == 70.0, "what is older than a day is not in it"
    assert len(trend.spans) >= 2
    assert trend.from_ms % SPAN_MS == 0
    assert NOW - DAY_MS <= trend.from_ms < NOW
    assert trend.spans[-1] == 94, "a new quarter hour has just begun"


def test_a_probe_that_never_read_has_no_picture(on_disk: CellarOnDisk) -> None:
    ((_, trend),) = day_trends(on_disk.store, [on_disk.series["k1-pressure"]], NOW)
    assert draw_trend(trend, "pressure", [], 30.0, None) is None


def test_an_extreme_reaches_as_far_as_it_is(on_disk: CellarOnDisk) -> None:
    drawing = draw_trend(DAY, "pressure", [], 30.0, None)
    assert drawing is not None
    (corners,) = outlines(drawing.band)
    assert max(y for _, y in corners) == HEIGHT - 2.0, "the fall to 20 kPa"
    assert min(y for _, y in corners) == 2.0
    assert all(0.0 <= x <= WIDTH for x, _ in corners)


def test_a_time_without_readings_is_a_gap(on_disk: CellarOnDisk) -> None:
    trend = DayTrend(0, (0, 1, 2, 40, 41), (1.0,) * 5, (2.0,) * 5)
    often = draw_trend(trend, "pressure", [], 30.0, None)
    assert often is not None
    assert len(outlines(often.band)) == 2
    # A probe that reads every half day has no gap there.
    seldom = draw_trend(trend, "pressure", [], 43_200.0, None)
    assert seldom is not None
    assert len(outlines(seldom.band)) == 1


def test_a_near_limit_lies_at_its_place_and_a_far_one_at_the_edge() -> None:
    low, over = a_limit(kind="low", setpoint=15.0), a_limit(kind="high", setpoint=500.0)
    drawing = draw_trend(DAY, "pressure", [low, over], 30.0, 55.0)
    assert drawing is not None
    near, far = drawing.limits
    assert not near.beyond
    assert float(near.y) == HEIGHT - 2.0, "below the lowest reading"
    assert float(near.top) + float(near.height) == HEIGHT, "what is below the limit is marked"
    assert far.beyond
    assert float(far.y) < 1.0


def test_noise_lies_flat() -> None:
    calm = DayTrend(0, tuple(range(96)), (55.0,) * 96, (55.1,) * 96)
    drawing = draw_trend(calm, "pressure", [], 30.0, None)
    assert drawing is not None
    (corners,) = outlines(drawing.band)
    assert max(y for _, y in corners) - min(y for _, y in corners) < 1.0


@given(
    st.lists(
        st.tuples(st.integers(0, 95), st.floats(-1e6, 1e6), st.floats(0, 1e6)),
        max_size=96,
        unique_by=lambda row: row[0],
    ),
    st.lists(st.tuples(st.sampled_from(["low", "high"]), st.floats(-1e7, 1e7)), max_size=4),
    st.none() | st.floats(-1e7, 1e7),
)
def test_whatever_was_read_the_picture_keeps_to_its_size(
    rows: list[tuple[int, float, float]], setpoints: list[tuple[str, float]], newest: float | None
) -> None:
    rows = sorted(rows)
    trend = DayTrend(
        0, tuple(row[0] for row in rows), tuple(row[1] for row in rows), tuple(row[1] + row[2] for row in rows)
    )
    limits: list[EffectiveLimit] = [a_limit(kind=kind, setpoint=setpoint) for kind, setpoint in setpoints]
    drawing = draw_trend(trend, "pressure", limits, 10.0, newest)
    assert (drawing is None) == (not rows)
    if drawing is None:
        return
    corners = [corner for part in outlines(drawing.band) for corner in part]
    assert len(corners) == 2 * len(rows)
    assert all(-0.1 <= x <= WIDTH + 0.1 and -0.1 <= y <= HEIGHT + 0.1 for x, y in corners)
    for limit in drawing.limits:
        assert 0.0 <= float(limit.y) <= HEIGHT
        assert float(limit.height) >= 0.0
