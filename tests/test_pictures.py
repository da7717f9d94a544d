"""Pictures: what cannot be drawn is refused with the reason; a child draws the rest, the same each time."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any, Final
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.image import imread

from alerts.errors import PictureFailed
from alerts.pictures import (
    Chart,
    ChartBand,
    ChartLimit,
    ChartLine,
    ChartMark,
    ChartPane,
    ChartPoints,
    PictureKind,
    draw,
)
from alerts.pictures.document import FOLDER_PREFIX, PictureRequest, read_request, written_request

NOW: Final = 1_795_850_000_000
HOUR: Final = 3_600_000
LOW: Final = ChartLimit(value=8.0, label="low limit 8 kPa", side="low")
# More than any test machine needs; what is too slow is a test of its own.
PATIENT_S: Final = 60.0


def trend(title: str = "K1: pressure", value: float = 55.0) -> Chart:
    """A day of one value, with a limit and an alarm."""
    at_ms = tuple(NOW - number * 600_000 for number in reversed(range(144)))
    line = ChartLine(at_ms=at_ms, values=(value,) * 144, gap_ms=1_800_000)
    return Chart(
        title=title,
        from_ms=NOW - 24 * HOUR,
        until_ms=NOW,
        zone="Europe/Ljubljana",
        panes=(ChartPane(title="Pressure, kPa", lines=(line,), limits=(LOW,)),),
        marks=(ChartMark(at_ms=NOW - HOUR, label="alarm raised", kind="alarm"),),
    )


def every_part() -> Chart:
    """A chart with everything that a chart can show, and text that would be markup elsewhere."""
    at_ms = tuple(NOW - number * HOUR for number in reversed(range(48)))
    free = ChartPane(
        title="Free SO2, mg/L",
        lines=(ChartLine(at_ms=at_ms, values=(30.0,) * 48, name="_estimate", style="estimate"),),
        bands=(ChartBand(at_ms=at_ms, low=(27.0,) * 48, high=(33.0,) * 48, name="95 % interval"),),
        points=(ChartPoints(at_ms=at_ms[:2], values=(31.0, 30.0), errors=(2.0, None), name="titrated"),),
        limits=(ChartLimit(value=45.0, label="high limit $45$", side="high"),),
    )
    pressure = ChartPane(
        title="Pressure, kPa",
        lines=(
            ChartLine(at_ms=at_ms, values=(None, *(40.0,) * 47), name="as measured"),
            ChartLine(at_ms=at_ms, values=(41.0,) * 48, name="at 15 °C", style="compensated"),
        ),
    )
    return Chart(
        title="Lot <b>R25</b> $x_1$ \u202e čšž",
        from_ms=at_ms[0],
        until_ms=NOW,
        zone="Europe/Ljubljana",
        panes=(free, pressure, ChartPane(title="Temperature, °C")),
        marks=(
            ChartMark(at_ms=at_ms[9], label="30 mg/L added", kind="entry"),
            ChartMark(at_ms=at_ms[9] + 60_000, label="racked", kind="entry"),
            ChartMark(at_ms=at_ms[0] - HOUR, until_ms=at_ms[5], label="SO2 low", kind="alarm"),
            ChartMark(at_ms=NOW + HOUR, label="later", kind="entry"),
        ),
        note="by the simple model",
        height_mm=130,
    )


BEGINNINGS: Final[dict[PictureKind, bytes]] = {"png": b"\x89PNG\r\n\x1a\n", "svg": b"<?xml", "pdf": b"%PDF-"}


@pytest.mark.parametrize("kind", BEGINNINGS)
def test_a_chart_with_every_part_is_drawn_the_same_each_time(kind: PictureKind) -> None:
    drawn = draw(every_part(), kind, PATIENT_S)
    assert drawn.startswith(BEGINNINGS[kind])
    assert drawn == draw(every_part(), kind, PATIENT_S)
    if kind == "svg":
        ElementTree.fromstring(drawn.decode())  # our own file, not somebody's


def test_a_picture_carries_no_time_and_no_version() -> None:
    assert b"CreationDate" not in draw(trend(), "pdf", PATIENT_S)
    assert b"tEXtSoftware\x00leeside" in draw(trend(), "png", PATIENT_S)


def test_the_limit_is_in_the_picture_where_its_value_is() -> None:
    """The value axis reaches to the limit, and the tone of limits is found once across the picture's width."""
    pixels = imread(io.BytesIO(draw(trend(), "png", PATIENT_S)), format="png")[..., :3]
    assert pixels.shape[:2] == (396, 850)
    reddish = (pixels[..., 0] - pixels[..., 2] > 0.2).sum(axis=1)
    assert int((reddish > 400).sum()) in (1, 2, 3), "rows that the limit's line runs through"
    below = pixels[int((reddish > 400).argmax()) + 20 : -60, 300]
    assert (below.std(axis=1) < 0.02).all(), "beyond the limit nothing is drawn, for no value lay there"


def test_a_constant_series_stays_a_line_and_not_noise() -> None:
    pixels = imread(io.BytesIO(draw(trend(value=8.0), "png", PATIENT_S)), format="png")[..., :3]
    dark = (pixels.max(axis=2) < 0.3).sum(axis=1)
    assert int((dark > 400).sum()) <= 4


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"until_ms": 0}, "must end after it begins"),
        ({"panes": ()}, "needs at least one pane"),
        ({"zone": "Mars/Olympus"}, "'Mars/Olympus' is not the name of a time zone"),
        ({"zone": "../../etc/passwd"}, "is not the name of a time zone"),
        ({"width_mm": 5000.0}, "must be 30 to 420 mm wide, not 5000"),
        ({"dots_per_inch": 4000}, "needs 50 to 400 dots per inch, not 4000"),
    ],
)
def test_what_cannot_be_drawn_is_refused_with_the_reason(change: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(trend(), **change)


def test_lines_need_a_finite_value_for_each_time() -> None:
    with pytest.raises(ValueError, match="there are 2 times and 1 values"):
        ChartLine(at_ms=(1, 2), values=(1.0,))
    with pytest.raises(ValueError, match="holds inf, which cannot be drawn"):
        ChartBand(at_ms=(1,), low=(1.0,), high=(float("inf"),))


def test_too_many_values_are_refused() -> None:
    line = ChartLine(at_ms=tuple(range(200_001)), values=(1.0,) * 200_001)
    with pytest.raises(ValueError, match="can show 200,000 values, not 200,001"):
        replace(trend(), panes=(ChartPane(title="", lines=(line,)),))


TIMES: Final = st.lists(st.integers(0, 2**45), max_size=5)


@given(TIMES, st.text(max_size=200), st.floats(allow_nan=False, allow_infinity=False))
def test_a_request_is_read_as_it_was_written(times: list[int], text: str, value: float) -> None:
    text = text.encode("utf-8", "replace").decode()
    line = ChartLine(at_ms=tuple(times), values=(value,) * len(times), name=text)
    chart = replace(trend(text), panes=(ChartPane(title=text, lines=(line,)),))
    request = PictureRequest(kind="svg", picture=chart, sheet=1)
    assert read_request(written_request(request)) == request


@pytest.mark.parametrize(
    ("document", "words"),
    [
        (b"", "the request is not JSON"),
        (b"{}", "kind: is missing"),
        (json.dumps({"kind": "gif", "picture": {}}).encode(), 'kind: allowed: "png", "svg" or "pdf"'),
        (written_request(PictureRequest(kind="png", picture=trend())).replace(b"Europe/", b"Mars/"), "time zone"),
    ],
)
def test_the_child_refuses_what_it_cannot_read_and_says_why(document: bytes, words: str) -> None:
    command = [sys.executable, "-m", "alerts.pictures.child"]
    child = subprocess.run(command, input=document, capture_output=True, timeout=PATIENT_S, check=False)
    assert (child.returncode, child.stdout) == (2, b"")
    assert words in child.stderr.decode()


def test_a_page_that_is_not_there_is_refused() -> None:
    with pytest.raises(PictureFailed, match="has 1 pages; there is no page 7"):
        draw(trend(), "png", PATIENT_S, sheet=7)


def test_a_picture_that_is_late_is_given_up() -> None:
    with pytest.raises(PictureFailed, match=r"not drawn within 0\.01 s"):
        draw(trend(), "png", 0.01)


def test_it_is_drawn_without_a_home_and_nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("HOME", raising=False)
    monkeypatch.setenv("MPLCONFIGDIR", str(tmp_path / "of-somebody"))
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    assert draw(trend(), "png", PATIENT_S).startswith(BEGINNINGS["png"])
    assert not list(tmp_path.iterdir())


def test_a_child_whose_parent_was_killed_leaves_nothing_behind(tmp_path: Path) -> None:
    folder = tmp_path / f"{FOLDER_PREFIX}of-somebody-who-is-gone"
    folder.mkdir()
    environment = {**os.environ, "MPLCONFIGDIR": str(folder), "MPL_IGNORE_SYSTEM_FONTS": "1"}
    request = written_request(PictureRequest(kind="png", picture=trend()))
    command = [sys.executable, "-m", "alerts.pictures.child"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment) as child:
        assert child.stdin is not None
        assert child.stdout is not None
        child.stdout.close()
        child.stdin.write(request)
        child.stdin.close()
        assert child.wait(PATIENT_S) == 2
    assert not list(tmp_path.iterdir())


def test_the_child_gets_no_secret(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shows = tmp_path / "shows-what-it-gets"
    shows.write_text("#!/bin/sh\nenv\n")
    shows.chmod(0o700)
    monkeypatch.setattr(sys, "executable", str(shows))
    monkeypatch.setenv("LEESIDE_MAIL_PASSWORD", "grandmother")
    passed = draw(trend(), "png", PATIENT_S).decode()
    assert "MPLCONFIGDIR=" in passed
    assert "PATH=" in passed
    assert "grandmother" not in passed


def test_importing_the_package_does_not_load_matplotlib() -> None:
    code = "import sys, alerts.pictures, alerts.daemon; sys.exit('matplotlib' in sys.modules)"
    subprocess.run([sys.executable, "-c", code], check=True, timeout=PATIENT_S)


def test_a_pdf_is_one_page_with_searchable_letters() -> None:
    drawn = draw(trend(), "pdf", PATIENT_S)
    assert drawn.count(b"/Type /Page\n") + drawn.count(b"/Type /Page ") == 1
    assert b"DejaVuSerif-Bold" in drawn
