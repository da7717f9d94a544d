"""The sheet of a review: text in columns, and always two pages of A4, whatever people wrote."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.image import imread

from alerts.errors import PictureFailed
from alerts.pictures import Chart, ChartLine, ChartPane, ReviewSheet, SheetPoint, draw
from alerts.pictures.document import PictureRequest, read_request, written_request
from alerts.pictures.sheet_paint import sheet_figures
from alerts.pictures.text_flow import FlowLine, flowed, text_width_mm, wrapped

NOW = 1_795_850_000_000
HOUR = 3_600_000
PATIENT_S = 120.0
POINT = SheetPoint(title="Blanket", verdict="take care", reason="The gauge fell under 5 kPa for 2 h.", lines=("sound",))
CHART = Chart(
    title="K1: temperature",
    from_ms=NOW - 100 * HOUR,
    until_ms=NOW,
    zone="Europe/Ljubljana",
    panes=(ChartPane(title="°C", lines=(ChartLine(at_ms=(NOW - 90 * HOUR, NOW), values=(11.0, 12.0)),)),),
)


def sheet(**changes: Any) -> ReviewSheet:
    usual: dict[str, Any] = {
        "title": "Racking K1 into K2",
        "about": "Mill Lane cellar",
        "verdict": "take care",
        "points": (POINT,) * 13,
        "charts": (CHART,) * 3,
        "steps": ("Clean and sanitise K2.",) * 12,
        "cautions": ("leeside is not a gas alarm",) * 8,
    }
    return ReviewSheet(**{**usual, **changes})


def texts(figure: Any) -> list[str]:
    return [text.get_text() for text in figure.texts]


def test_everything_is_on_the_sheet() -> None:
    first, second = sheet_figures(sheet(no_steps="none"))
    assert "Racking K1 into K2" in texts(first)
    assert texts(first).count("Blanket: take care") == 13
    assert texts(first).count("sound") == 13
    # The verdict has a shape beside its word.
    assert texts(first).count("⚠") == 13
    assert texts(second).count("Clean and sanitise K2.") == texts(second).count("☐") == 12
    assert texts(second).count("leeside is not a gas alarm") == 8
    assert ("page 1 of 2" in texts(first), "page 2 of 2" in texts(second)) == (True, True)
    assert len(second.subfigs) == 3


def test_a_sheet_is_two_pages_of_a4() -> None:
    pdf = draw(sheet(), "pdf", PATIENT_S)
    assert len(re.findall(rb"/Type /Page\b(?!s)", pdf)) == 2
    sizes = re.findall(rb"/MediaBox \[ ?([0-9. ]+)\]", pdf)
    assert all([round(float(edge)) for edge in size.split()] == [0, 0, 595, 842] for size in sizes)
    picture = imread(io.BytesIO(draw(sheet(dots_per_inch=50), "png", PATIENT_S, sheet=1)))
    assert picture.shape[:2] == (584, 413)
    with pytest.raises(PictureFailed, match="no page 2, counted from 0"):
        draw(sheet(dots_per_inch=50), "png", PATIENT_S, sheet=2)


@pytest.mark.parametrize(
    "text",
    ["<b>$x_1$</b> & \u202eright to left \x1b[31m", "wordwithoutanend" * 700, "many words " * 1000, "", "čšž Ω"],
)
def test_whatever_people_wrote_fits(text: str) -> None:
    odd = SheetPoint(title=text, verdict="do not", reason=text, lines=(text,) * 40)
    whole = sheet(title=text, about=text, points=(odd,) * 24, steps=(text,) * 40, cautions=(text,) * 40, foot=text)
    with rc_context({"text.parse_math": False}):
        figures = sheet_figures(whole)
    for figure in figures:
        renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
        boxes = [each.get_window_extent(renderer) for each in figure.texts if each.get_text()]
        width, height = figure.bbox.width, figure.bbox.height
        assert all(box.x0 >= -2 and box.x1 <= width + 2 and box.y0 >= -2 and box.y1 <= height + 2 for box in boxes)


def test_no_work_where_something_says_do_not() -> None:
    _, second = sheet_figures(sheet(steps=(), no_steps="First mend it.", charts=()))
    assert "First mend it." in texts(second)
    assert "☐" not in texts(second)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"points": (POINT,) * 25}, "24 points, not 25"),
        ({"charts": (CHART,) * 4}, "3 charts, not 4"),
        ({"dots_per_inch": 20}, "50 to 400 dots per inch, not 20"),
    ],
)
def test_what_two_pages_cannot_hold(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        sheet(**changes)


def test_a_request_comes_back_as_it_was() -> None:
    for picture in (sheet(), CHART, replace(sheet(), charts=())):
        request = PictureRequest(kind="pdf", picture=picture)
        assert read_request(written_request(request)) == request


@given(st.text(max_size=300), st.floats(10.0, 100.0), st.sampled_from(["normal", "bold"]))
def test_lines_are_no_wider_than_the_column(text: str, width_mm: float, weight: str) -> None:
    lines = wrapped(text, width_mm, 7.0, weight)
    assert all(text_width_mm(line, 7.0, weight) <= width_mm or len(line) <= 1 for line in lines)
    # Nothing is lost but the spaces at which lines end.
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


@given(st.lists(st.booleans(), max_size=60), st.integers(1, 3), st.integers(1, 40))
def test_columns_keep_the_order_and_what_belongs_together(keeps: list[bool], columns: int, most: int) -> None:
    lines = [FlowLine(str(number), keep=keep) for number, keep in enumerate(keeps)]
    filled = flowed(lines, columns, most)
    if filled is None:
        assert len(lines) > most or any(keeps)
        return
    assert len(filled) <= columns
    assert all(len(column) <= most for column in filled)
    assert [line for column in filled for line in column] == lines
    assert not any(column[-1].keep for column in filled[:-1] if column)
