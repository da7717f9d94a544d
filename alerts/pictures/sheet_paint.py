"""A sheet of a review as matplotlib draws it: two pages of A4."""

from __future__ import annotations

__all__ = ["sheet_figures"]

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from alerts.pictures.chart_paint import paint_chart
from alerts.pictures.look import HAIRLINE_PT, INK, LIMIT_INK, PALE, RULE, SMALL_PT, TITLE_FONT
from alerts.pictures.sheet import ReviewSheet
from alerts.pictures.text_flow import FlowLine, flowed, text_width_mm, wrapped
from ingest.plain_text import one_line

_WIDTH_MM: Final = 210.0
_HEIGHT_MM: Final = 297.0
_MARGIN_MM: Final = 13.0
_TOP_MM: Final = 12.0
_FOOT_MM: Final = 11.0
_HEAD_MM: Final = 17.0
_GUTTER_MM: Final = 7.0
_INSIDE_MM: Final = _WIDTH_MM - 2.0 * _MARGIN_MM
_BODY_TOP_MM: Final = _TOP_MM + _HEAD_MM
_BODY_MM: Final = _HEIGHT_MM - _BODY_TOP_MM - _FOOT_MM
_CHART_WIDTH_MM: Final = 116.0
_CHART_HEIGHT_MM: Final = 47.0
_CAUTIONS_MM: Final = 70.0
_MM_PER_INCH: Final = 25.4
_MM_PER_PT: Final = 25.4 / 72.0
# Letters become smaller before anything is left out [pt], and lines stand this much apart.
_SIZES_PT: Final = (7.5, 7.2, 6.9, 6.6, 6.3, 6.0)
_LEADING: Final = 1.3
_MARK_MM: Final = 4.5
_INDENT_MM: Final = 3.0
# A shape for each verdict, beside its word.
_MARKS: Final = {"in order": "✓", "not known": "?", "take care": "⚠", "do not": "✕"}
_LONGEST: Final = 1000
# A number stays in one line with its unit.
_UNIT: Final = re.compile(r"(\d) (?=(?:°[CF]|%|[kmµ]?[gLm]\b|mg/L|kPa|psi|min|[dhK]\b))")
_LONGEST_TITLE: Final = 80
# More letters than these never fit on the first page, and no list has more.
_MOST_LETTERS: Final = 15_000
_MOST_IN_LIST: Final = 6_000
# What is no longer than this is not shortened.
_SHORT: Final = 60


def sheet_figures(sheet: ReviewSheet) -> tuple[Figure, Figure]:
    """Draw both pages."""
    first, second = _page(sheet, 1), _page(sheet, 2)
    _paint_points(first, sheet)
    _paint_charts(second, sheet)
    _paint_work(second, sheet)
    return first, second


def _page(sheet: ReviewSheet, number: int) -> Figure:
    """An empty page with head and foot."""
    figure = Figure(
        figsize=(_WIDTH_MM / _MM_PER_INCH, _HEIGHT_MM / _MM_PER_INCH), dpi=sheet.dots_per_inch, facecolor="white"
    )
    verdict = f"{_MARKS[sheet.verdict]} {sheet.verdict}"
    right_mm = text_width_mm(verdict, 11.0, "bold")
    title = _cut(sheet.title, _INSIDE_MM - right_mm - 6.0, 14.0)
    _text(figure, _MARGIN_MM, _TOP_MM + 5.5, title, size=14.0, family=TITLE_FONT, weight="bold")
    _text(figure, _WIDTH_MM - _MARGIN_MM, _TOP_MM + 5.5, verdict, size=11.0, weight="bold", ha="right")
    _text(figure, _MARGIN_MM, _TOP_MM + 10.5, _cut(sheet.about, _INSIDE_MM, 8.0), size=8.0, color=PALE)
    for down_mm in (_TOP_MM + 12.6, _TOP_MM + 13.4):
        _rule(figure, down_mm, INK)
    _rule(figure, _HEIGHT_MM - _FOOT_MM + 2.0, RULE)
    foot = _cut(sheet.foot, _INSIDE_MM - 25.0, SMALL_PT)
    _text(figure, _MARGIN_MM, _HEIGHT_MM - _FOOT_MM + 5.6, foot, size=SMALL_PT, color=PALE)
    page = f"page {number} of 2"
    _text(figure, _WIDTH_MM - _MARGIN_MM, _HEIGHT_MM - _FOOT_MM + 5.6, page, size=SMALL_PT, color=PALE, ha="right")
    return figure


# ---- the points -----------------------------------------------------------------------------------------------------


def _paint_points(figure: Figure, sheet: ReviewSheet) -> None:
    width_mm = (_INSIDE_MM - _GUTTER_MM) / 2.0
    size_pt, columns = _fitting_points(sheet, width_mm)
    for number, column in enumerate(columns):
        left_mm = _MARGIN_MM + number * (width_mm + _GUTTER_MM)
        _paint_lines(figure, column, left_mm, _BODY_TOP_MM, size_pt)


def _fitting_points(sheet: ReviewSheet, width_mm: float) -> tuple[float, list[list[FlowLine]]]:
    """Find the largest letters in which all of it fits [pt]; with the smallest leave out what does not."""
    while _letters(sheet) > _MOST_LETTERS:
        sheet = _shortened(sheet)
    for size_pt in _SIZES_PT:
        columns = _even([*_point_lines(sheet, width_mm, size_pt)], 2, _most_lines(size_pt))
        if columns is not None:
            return size_pt, columns
    shown, smallest = sheet, _SIZES_PT[-1]
    while (columns := _even([*_point_lines(shown, width_mm, smallest)], 2, _most_lines(smallest))) is None:
        # A tenth at once: text from people may be long.
        for _ in range(1 + sum(len(point.lines) for point in shown.points) // 10):
            shown = _shortened(shown)
    return smallest, columns


def _letters(sheet: ReviewSheet) -> int:
    return sum(len(point.reason) + sum(map(len, point.lines)) for point in sheet.points)


def _most_lines(size_pt: float) -> int:
    return int(_BODY_MM / (_LEADING * size_pt * _MM_PER_PT))


def _point_lines(sheet: ReviewSheet, width_mm: float, size_pt: float) -> Iterator[FlowLine]:
    for number, point in enumerate(sheet.points):
        if number:
            yield FlowLine(gap=True)
        head = wrapped(
            f"{one_line(point.title, _LONGEST_TITLE)}: {point.verdict}", width_mm - _MARK_MM, size_pt, "bold"
        )
        for place, text in enumerate(head):
            yield FlowLine(text, "bold", _MARK_MM, "" if place else _MARKS[point.verdict], keep=True)
        yield from _paragraph(point.reason, _MARK_MM, width_mm, size_pt)
        for line in point.lines:
            yield from _paragraph(line, _MARK_MM + _INDENT_MM, width_mm, size_pt, "·")


def _paragraph(text: str, indent_mm: float, width_mm: float, size_pt: float, mark: str = "") -> Iterator[FlowLine]:
    lines = wrapped(_UNIT.sub("\\1\u00a0", _said(text)), width_mm - indent_mm, size_pt)
    for number, line in enumerate(lines):
        yield FlowLine(line, "normal", indent_mm, "" if number else mark, keep=number < len(lines) - 1)


def _shortened(sheet: ReviewSheet) -> ReviewSheet:
    """Leave out the last line of the point that has the most; once none has any, shorten the longest reason."""
    # A line takes its room, however short it is.
    longest = max(
        range(len(sheet.points)), key=lambda number: sum(_SHORT + len(line) for line in sheet.points[number].lines)
    )
    points = list(sheet.points)
    if points[longest].lines:
        points[longest] = replace(points[longest], lines=points[longest].lines[:-1])
    else:
        longest = max(range(len(points)), key=lambda number: len(points[number].reason))
        points[longest] = replace(points[longest], reason=points[longest].reason[: len(points[longest].reason) // 2])
    return replace(sheet, points=tuple(points))


# ---- charts, work, cautions -----------------------------------------------------------------------------------------


def _paint_charts(figure: Figure, sheet: ReviewSheet) -> None:
    count = len(sheet.charts)
    if not count:
        return
    below_mm = _HEIGHT_MM - _BODY_TOP_MM - count * _CHART_HEIGHT_MM
    grid = figure.add_gridspec(
        count + 2,
        3,
        height_ratios=[_BODY_TOP_MM, *([_CHART_HEIGHT_MM] * count), below_mm],
        width_ratios=[_MARGIN_MM - 3.0, _CHART_WIDTH_MM, _WIDTH_MM - _CHART_WIDTH_MM - _MARGIN_MM + 3.0],
        wspace=0.0,
        hspace=0.0,
    )
    for number, chart in enumerate(sheet.charts):
        part = figure.add_subfigure(grid[number + 1, 1], facecolor="none")
        paint_chart(part, chart, _CHART_WIDTH_MM, _CHART_HEIGHT_MM)


def _paint_work(figure: Figure, sheet: ReviewSheet) -> None:
    """The work beside the charts, what to be careful of below both, and the rest of the page ruled for notes."""
    charts_mm = len(sheet.charts) * _CHART_HEIGHT_MM
    left_mm = _MARGIN_MM + _CHART_WIDTH_MM + 2.0 if sheet.charts else _MARGIN_MM
    work_mm = charts_mm if sheet.charts else _BODY_MM - _CAUTIONS_MM - 20.0
    _paint_list(
        figure,
        "The work, in order",
        [("☐" if sheet.steps else "", step) for step in sheet.steps or (sheet.no_steps,)],
        (left_mm, _BODY_TOP_MM, _WIDTH_MM - _MARGIN_MM - left_mm, work_mm),
        columns=1 if sheet.charts else 2,
    )
    top_mm = _BODY_TOP_MM + work_mm + 4.0
    used_mm = _paint_list(
        figure,
        "Be careful",
        [("·", caution) for caution in sheet.cautions],
        (_MARGIN_MM, top_mm, _INSIDE_MM, _CAUTIONS_MM),
        columns=2,
    )
    down_mm = top_mm + used_mm + 7.0
    if down_mm < _HEIGHT_MM - _FOOT_MM - 8.0:
        _text(figure, _MARGIN_MM, down_mm, "Notes", size=8.0, weight="bold")
    while (down_mm := down_mm + 8.0) < _HEIGHT_MM - _FOOT_MM - 3.0:
        _rule(figure, down_mm, RULE)


def _paint_list(
    figure: Figure,
    heading: str,
    items: Sequence[tuple[str, str]],
    box_mm: tuple[float, float, float, float],
    *,
    columns: int,
) -> float:
    """Draw a list with its heading into a box: left, top, width, height. Returns the height that it took [mm]."""
    left_mm, top_mm, width_mm, height_mm = box_mm
    _text(figure, left_mm, top_mm + 3.2, heading, size=8.0, weight="bold")
    column_mm = (width_mm - (columns - 1) * _GUTTER_MM) / columns
    size_pt, filled = _fitting_list([(mark, _said(text)) for mark, text in items], columns, column_mm, height_mm - 5.0)
    for number, column in enumerate(filled):
        _paint_lines(figure, column, left_mm + number * (column_mm + _GUTTER_MM), top_mm + 5.0, size_pt)
    return 5.0 + _LEADING * size_pt * _MM_PER_PT * max(map(len, filled), default=0)


def _fitting_list(
    items: Sequence[tuple[str, str]], columns: int, column_mm: float, height_mm: float
) -> tuple[float, list[list[FlowLine]]]:
    """Find the largest letters in which all of it fits [pt]; with the smallest shorten what does not."""
    shown = list(items)
    while sum(len(text) for _, text in shown) > _MOST_IN_LIST:
        shown = _less(shown)
    for size_pt in _SIZES_PT:
        most = int(height_mm / (_LEADING * size_pt * _MM_PER_PT))
        if (filled := _even([*_list_lines(shown, column_mm, size_pt)], columns, most)) is not None:
            return size_pt, filled
    smallest = _SIZES_PT[-1]
    most = int(height_mm / (_LEADING * smallest * _MM_PER_PT))
    while (filled := _even([*_list_lines(shown, column_mm, smallest)], columns, most)) is None:
        shown = _less(shown)
    return smallest, filled


def _less(items: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Shorten the texts of a list by a quarter; once all are short, leave out the last one."""
    if all(len(text) <= _SHORT for _, text in items):
        return list(items[:-1])
    return [(mark, _shorter(text)) for mark, text in items]


def _shorter(text: str) -> str:
    return text if len(text) <= _SHORT else f"{text[: len(text) * 3 // 4].rstrip(' …')} …"


def _list_lines(items: Iterable[tuple[str, str]], width_mm: float, size_pt: float) -> Iterator[FlowLine]:
    for mark, text in items:
        indent_mm = 0.0 if not mark else _MARK_MM
        yield from _paragraph(text, indent_mm, width_mm, size_pt, mark)


def _even(lines: Sequence[FlowLine], columns: int, most: int) -> list[list[FlowLine]] | None:
    """Spread lines over columns of about the same length; None where they do not fit."""
    least = min(-(-len(lines) // columns), most)
    return next((found for count in range(least, most + 1) if (found := flowed(lines, columns, count))), None)


# ---- drawing --------------------------------------------------------------------------------------------------------


def _paint_lines(figure: Figure, lines: Iterable[FlowLine], left_mm: float, top_mm: float, size_pt: float) -> None:
    line_mm = _LEADING * size_pt * _MM_PER_PT
    for number, line in enumerate(lines):
        down_mm = top_mm + (number + 0.8) * line_mm
        if line.mark:
            back_mm = _MARK_MM if line.mark != "·" else 2.0
            is_bad = line.mark in (_MARKS["take care"], _MARKS["do not"])
            color = LIMIT_INK if is_bad else INK
            _text(figure, left_mm + line.indent_mm - back_mm, down_mm, line.mark, size=size_pt, color=color)
        _text(figure, left_mm + line.indent_mm, down_mm, line.text, size=size_pt, weight=line.weight)


def _text(
    figure: Figure,
    left_mm: float,
    down_mm: float,
    text: str,
    *,
    size: float,
    color: str = INK,
    weight: str = "normal",
    family: str = "DejaVu Sans",
    ha: str = "left",
) -> None:
    figure.text(
        left_mm / _WIDTH_MM,
        1.0 - down_mm / _HEIGHT_MM,
        text,
        size=size,
        color=color,
        weight=weight,
        family=family,
        ha=ha,
        va="baseline",
    )


def _rule(figure: Figure, down_mm: float, color: str) -> None:
    y = 1.0 - down_mm / _HEIGHT_MM
    ends = (_MARGIN_MM / _WIDTH_MM, 1.0 - _MARGIN_MM / _WIDTH_MM)
    figure.add_artist(Line2D(ends, (y, y), color=color, linewidth=HAIRLINE_PT, transform=figure.transFigure))


def _cut(text: str, width_mm: float, size_pt: float) -> str:
    """A text in one line that is no wider than that."""
    first, *more = wrapped(_said(text), width_mm, size_pt, "bold")
    return f"{first} …" if more else first


def _said(text: str) -> str:
    return one_line(text, _LONGEST)
