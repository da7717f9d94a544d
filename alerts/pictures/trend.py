"""The chart of one series over the last day, as a mail shows it: its values, its limits, when an alarm began. Pure."""

from __future__ import annotations

__all__ = ["DAY_MS", "day_trend"]

from collections.abc import Sequence
from typing import Final

from alerts.pictures.chart import Chart, ChartLimit, ChartLine, ChartMark, ChartPane

DAY_MS: Final = 24 * 3_600_000
# Two pixels of a picture that is 800 wide: a longer silence is seen as one.
_LEAST_GAP_MS: Final = 300_000


def day_trend(
    title: str,
    quantity: str,
    at_ms: Sequence[int],
    values: Sequence[float],
    *,
    now_ms: int,
    zone: str,
    limits: Sequence[ChartLimit] = (),
    marks: Sequence[ChartMark] = (),
    every_s: float = 60.0,
    least_span: float = 0.0,
) -> Chart:
    """Chart one series over the 24 hours before a time.

    quantity: name and unit of the values; now_ms: UTC milliseconds; zone: an IANA name; every_s: how often a value is
    expected: three that are missing leave a gap; least_span: as in ``ChartPane``.
    """
    gap_ms = max(_LEAST_GAP_MS, round(3000 * every_s))
    line = ChartLine(at_ms=tuple(at_ms), values=tuple(values), gap_ms=gap_ms)
    pane = ChartPane(title=quantity, lines=(line,), limits=tuple(limits), least_span=least_span)
    return Chart(title=title, from_ms=now_ms - DAY_MS, until_ms=now_ms, zone=zone, panes=(pane,), marks=tuple(marks))
