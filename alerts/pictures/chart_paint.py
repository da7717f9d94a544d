"""A chart as matplotlib draws it: as a figure of its own, or into a part of a sheet."""

from __future__ import annotations

__all__ = ["chart_figure", "paint_chart"]

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

import numpy as np
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import blended_transform_factory

from alerts.pictures.chart import Chart, ChartBand, ChartLine, ChartMark, ChartPane, ChartPoints
from alerts.pictures.look import (
    BAND_HATCH,
    DASHES,
    HAIRLINE_PT,
    INK,
    LIMIT_DASHES,
    LIMIT_INK,
    PALE,
    RULE,
    SHADE,
    SMALL_PT,
    TITLE_FONT,
    TITLE_PT,
)
from ingest.plain_text import one_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import FigureBase
    from numpy.typing import NDArray

_MM_PER_INCH: Final = 25.4
_DAY_MS: Final = 86_400_000
# Round the panes, in millimetres: for numbers, the last time's text, title, times with their note; between two panes.
_LEFT_MM: Final = 13.0
_RIGHT_MM: Final = 5.0
_TITLE_MM: Final = 7.0
_PANE_TITLE_MM: Final = 5.5
_MARKS_MM: Final = 4.0
_FOOT_MM: Final = 9.0
_LABEL_MM: Final = 4.0
# A letter's usual width in the small size, and how long a text may be where there is no room for more.
_LETTER_MM: Final = 1.35
_LONGEST_TITLE: Final = 100
_LONGEST_NAME: Final = 60


def chart_figure(chart: Chart) -> Figure:
    """Draw a chart on a page of its own."""
    size = (chart.width_mm / _MM_PER_INCH, chart.height_mm / _MM_PER_INCH)
    figure = Figure(figsize=size, dpi=chart.dots_per_inch, facecolor="white")
    paint_chart(figure, chart, chart.width_mm, chart.height_mm)
    return figure


def paint_chart(figure: FigureBase, chart: Chart, width_mm: float, height_mm: float) -> None:
    """Draw a chart into a figure, or into a part of one (a subfigure) that is so wide and so high."""
    if chart.title:
        figure.text(
            3 / width_mm,
            1 - 2.5 / height_mm,
            _fit(chart.title, _LONGEST_TITLE),
            va="top",
            family=TITLE_FONT,
            size=TITLE_PT,
            weight="bold",
        )
    marks_mm = _MARKS_MM if chart.marks else 0.0
    top_mm = (_TITLE_MM if chart.title else 1.0) + marks_mm
    each_mm = (height_mm - top_mm - _FOOT_MM) / len(chart.panes)
    zone = ZoneInfo(chart.zone)
    for number, pane in enumerate(chart.panes):
        bottom_mm = height_mm - top_mm - (number + 1) * each_mm
        place = (
            _LEFT_MM / width_mm,
            bottom_mm / height_mm,
            (width_mm - _LEFT_MM - _RIGHT_MM) / width_mm,
            (each_mm - _PANE_TITLE_MM) / height_mm,
        )
        axes = figure.add_axes(place)
        _rule(axes, chart, zone, is_last=number == len(chart.panes) - 1)
        _paint_pane(axes, pane)
        _paint_marks(axes, chart, marks_mm, width_mm, has_labels=number == 0)
    last = datetime.fromtimestamp(chart.until_ms / 1000, UTC).astimezone(zone)
    foot = f"to {last:%Y-%m-%d %H:%M %Z}" + (f".  {chart.note}" if chart.note else "")
    figure.text(_LEFT_MM / width_mm, 1.8 / height_mm, _fit(foot, 140), va="bottom", size=SMALL_PT, color=PALE)


def _rule(axes: Axes, chart: Chart, zone: ZoneInfo, *, is_last: bool) -> None:
    """Set up a pane's axes: hairlines at round values, times below the last pane only."""
    axes.set_xlim(chart.from_ms / _DAY_MS, chart.until_ms / _DAY_MS)
    axes.xaxis_date(zone)
    locator = AutoDateLocator(tz=zone, minticks=4, maxticks=9)  # type: ignore[no-untyped-call]  # it has no hints
    axes.xaxis.set_major_locator(locator)
    formatter = ConciseDateFormatter(  # type: ignore[no-untyped-call]
        locator,
        tz=zone,
        formats=["%Y", "%b", "%-d %b", "%H:%M", "%H:%M", "%H:%M:%S"],
        zero_formats=["", "%Y", "%b", "%-d %b", "%H:%M", "%H:%M"],
        show_offset=False,
    )
    axes.xaxis.set_major_formatter(formatter)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=5, steps=[1, 2, 2.5, 5, 10]))
    axes.tick_params(length=0, pad=3, labelbottom=is_last)
    axes.tick_params(axis="x", length=2.5, width=HAIRLINE_PT, pad=2)
    axes.grid(visible=True, axis="y", color=RULE, linewidth=HAIRLINE_PT)
    axes.set_axisbelow(True)
    for name, spine in axes.spines.items():
        spine.set_visible(name in ("bottom", "top"))


def _paint_pane(axes: Axes, pane: ChartPane) -> None:
    axes.set_title(_fit(pane.title, _LONGEST_NAME), loc="left", size=SMALL_PT, color=PALE, pad=3)
    for band in pane.bands:
        axes.fill_between(
            _days(band.at_ms),
            band.low,
            band.high,
            facecolor="none",
            edgecolor=PALE,
            linewidth=HAIRLINE_PT,
            hatch=BAND_HATCH,
            label=_name(band.name),
        )
    for line in pane.lines:
        days, values = _with_gaps(line)
        axes.plot(
            days, values, color=INK, linestyle=DASHES[line.style], label=_name(line.name), solid_joinstyle="round"
        )
        alone = _alone(values)
        axes.plot(days[alone], values[alone], color=INK, linestyle="none", marker=".", markersize=3, clip_on=False)
    for points in pane.points:
        errors = [error or 0.0 for error in points.errors] or None
        axes.errorbar(
            _days(points.at_ms),
            points.values,
            yerr=errors,
            fmt="o",
            color=INK,
            markersize=4,
            markerfacecolor="white",
            capsize=2,
            elinewidth=0.8,
            label=_name(points.name),
        )
    _scale(axes, pane)
    _paint_limits(axes, pane)
    named: tuple[ChartLine | ChartPoints | ChartBand, ...] = (*pane.lines, *pane.points, *pane.bands)
    if sum(bool(each.name) for each in named) > 1:
        axes.legend(
            loc="lower right",
            bbox_to_anchor=(1.0, 1.0),
            ncols=4,
            frameon=False,
            fontsize=SMALL_PT,
            labelcolor=PALE,
            borderaxespad=0.1,
            borderpad=0.1,
            handlelength=2.6,
            columnspacing=1.5,
        )


def _name(name: str) -> str:
    """A name for the legend; one that begins with "_" would be left out of it."""
    return _fit(name, _LONGEST_NAME).replace("_", "ˍ", 1) if name.startswith("_") else _fit(name, _LONGEST_NAME)


def _days(at_ms: Sequence[int]) -> NDArray[np.float64]:
    """Times as matplotlib counts them: days since 1970, UTC."""
    return np.asarray(at_ms, dtype=np.float64) / _DAY_MS


def _with_gaps(line: ChartLine) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A line's times and values; where it is interrupted, NaN stands between."""
    times = np.asarray(line.at_ms, dtype=np.float64)
    values = np.asarray([np.nan if value is None else value for value in line.values], dtype=np.float64)
    if line.gap_ms and len(times) > 1:
        after = np.flatnonzero(np.diff(times) > line.gap_ms) + 1
        times, values = np.insert(times, after, times[after - 1]), np.insert(values, after, np.nan)
    return times / _DAY_MS, values


def _alone(values: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which values have no neighbour that a line could join them to."""
    nothing = np.isnan(values)
    left, right = np.r_[True, nothing[:-1]], np.r_[nothing[1:], True]
    return np.asarray(~nothing & left & right, dtype=np.bool_)


def _scale(axes: Axes, pane: ChartPane) -> None:
    """Scale the value axis to what is shown, its limits included."""
    shown = [value for line in pane.lines for value in line.values if value is not None]
    shown += [value for band in pane.bands for value in (*band.low, *band.high)]
    for points in pane.points:
        errors = points.errors or (None,) * len(points.values)
        for value, error in zip(points.values, errors, strict=True):
            shown += [value - (error or 0.0), value + (error or 0.0)]
    shown += [limit.value for limit in pane.limits]
    if not shown:
        axes.set_ylim(0.0, 1.0)
        axes.set_yticks([])
        axes.text(0.5, 0.5, "no values in this time", transform=axes.transAxes, ha="center", va="center", color=PALE)
        return
    low, high = min(shown), max(shown)
    # A value that stands still is drawn as a line across a pane of its own height, not as noise.
    span = max(high - low, pane.least_span, 1e-3 * max(abs(low), abs(high)), 1e-6)
    middle, half = (low + high) / 2, 0.56 * span
    low, high = middle - half, middle + half
    # Beyond the outermost limits there is room for their labels.
    label = (high - low) * min(_LABEL_MM / _axes_height_mm(axes), 0.3)
    low = min([low, *(limit.value - label for limit in pane.limits if limit.side == "low")])
    high = max([high, *(limit.value + label for limit in pane.limits if limit.side == "high")])
    axes.set_ylim(low, high)


def _paint_limits(axes: Axes, pane: ChartPane) -> None:
    low, high = axes.get_ylim()
    across = blended_transform_factory(axes.transAxes, axes.transData)
    for limit in pane.limits:
        is_low = limit.side == "low"
        axes.axhspan(
            low if is_low else limit.value, limit.value if is_low else high, color=SHADE, linewidth=0, zorder=0
        )
        axes.axhline(limit.value, color=LIMIT_INK, linewidth=0.9, linestyle=LIMIT_DASHES)
        # At the left end, for the newest values are at the right one.
        axes.annotate(
            _fit(limit.label, _LONGEST_NAME),
            xy=(0.004, limit.value),
            xycoords=across,
            xytext=(0, -2 if is_low else 2),
            textcoords="offset points",
            va="top" if is_low else "bottom",
            size=SMALL_PT,
            color=LIMIT_INK,
        )


def _paint_marks(axes: Axes, chart: Chart, marks_mm: float, width_mm: float, *, has_labels: bool) -> None:
    """Draw the marks as upright lines, an alarm's time as a hatched strip at the foot; labels where there is room."""
    shown = [mark for mark in chart.marks if _is_shown(mark, chart)]
    for mark in shown:
        begin, end = mark.at_ms / _DAY_MS, _end_ms(mark, chart) / _DAY_MS
        if mark.kind == "alarm":
            axes.axvspan(
                begin, end, ymax=0.06, facecolor="white", edgecolor=LIMIT_INK, hatch="xxxx", linewidth=HAIRLINE_PT
            )
        if mark.at_ms >= chart.from_ms:
            style = "solid" if mark.kind == "alarm" else (0, (1, 2))
            axes.axvline(begin, color=_tone(mark), linewidth=0.8, linestyle=style)
    if has_labels:
        labelled = [mark for mark in shown if mark.at_ms >= chart.from_ms]
        _paint_labels(axes, labelled, chart, marks_mm, width_mm - _LEFT_MM - _RIGHT_MM)


def _paint_labels(axes: Axes, marks: Sequence[ChartMark], chart: Chart, marks_mm: float, inside_mm: float) -> None:
    """Write the labels above the pane, those of alarms first; one that would lie over another is left out."""
    upright = blended_transform_factory(axes.transData, axes.transAxes)
    taken: list[tuple[float, float]] = []
    for mark in sorted(marks, key=lambda each: (each.kind != "alarm", each.at_ms)):
        at_mm = (mark.at_ms - chart.from_ms) / (chart.until_ms - chart.from_ms) * inside_mm
        text = _fit(mark.label, _LONGEST_NAME)
        length_mm = len(text) * _LETTER_MM
        # Near the right end a label is written to the left of its line.
        is_left = at_mm + length_mm > inside_mm + _RIGHT_MM - 1
        begin_mm = at_mm - length_mm if is_left else at_mm
        end_mm = begin_mm + length_mm + _LETTER_MM
        if any(begin_mm < other_end and other_begin < end_mm for other_begin, other_end in taken):
            continue
        taken.append((begin_mm, end_mm))
        at_days = mark.at_ms / _DAY_MS
        axes.text(
            at_days,
            1 + (marks_mm + 3.0) / _axes_height_mm(axes),
            text,
            transform=upright,
            ha="right" if is_left else "left",
            va="center",
            size=SMALL_PT,
            color=_tone(mark),
        )
        axes.plot(
            [at_days],
            [1 + (marks_mm + 0.6) / _axes_height_mm(axes)],
            transform=upright,
            marker="v" if mark.kind == "alarm" else "|",
            markersize=4,
            color=_tone(mark),
            clip_on=False,
        )


def _tone(mark: ChartMark) -> str:
    return LIMIT_INK if mark.kind == "alarm" else PALE


def _axes_height_mm(axes: Axes) -> float:
    box = axes.get_window_extent()
    return float(box.height / axes.figure.dpi * _MM_PER_INCH)


def _is_shown(mark: ChartMark, chart: Chart) -> bool:
    return mark.at_ms <= chart.until_ms and _end_ms(mark, chart) >= chart.from_ms


def _end_ms(mark: ChartMark, chart: Chart) -> int:
    if mark.until_ms is not None:
        return mark.until_ms
    return chart.until_ms if mark.kind == "alarm" else mark.at_ms


def _fit(text: str, longest: int) -> str:
    return one_line(text, longest)
