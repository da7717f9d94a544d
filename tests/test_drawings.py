"""The drawings of the docs are what their script draws, can be read by any SVG reader, and are shown on some page."""

from __future__ import annotations

import re
import subprocess
import sys
import unicodedata
from pathlib import Path
from typing import Final
from xml.etree import ElementTree

import pytest

TOP: Final = Path(__file__).resolve().parent.parent
FOLDER: Final = TOP / "docs" / "drawings"
FILES: Final = sorted(FOLDER.glob("*.svg"))
SVG: Final = "{http://www.w3.org/2000/svg}"
# How wide a letter may be, as a share of its size: DejaVu Sans is about 0.6 on average, in bold 0.69.
LETTER: Final = {"normal": 0.62, "bold": 0.72}


def test_the_files_are_what_the_script_draws(tmp_path: Path) -> None:
    subprocess.run([sys.executable, "-B", str(FOLDER / "draw.py"), str(tmp_path)], check=True, timeout=60)
    drawn = {file.name: file.read_text("utf-8") for file in tmp_path.iterdir()}
    assert len(drawn) == 6
    assert drawn == {file.name: file.read_text("utf-8") for file in FILES}, "run: python docs/drawings/draw.py"


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_drawing_is_well_formed_and_says_what_it_shows(file: Path) -> None:
    root = ElementTree.parse(file).getroot()  # our own files, not somebody's
    assert root.tag == f"{SVG}svg"
    for told in ("title", "desc"):
        element = root.find(f"{SVG}{told}")
        assert element is not None
        assert element.text
        assert element.get("id") in (root.get("aria-labelledby") or "").split()


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_nothing_is_cut_off_or_too_small_to_read(file: Path) -> None:
    root = ElementTree.parse(file).getroot()
    width, height = (float(side) for side in (root.get("viewBox") or "").split()[2:])
    for element in root.iter(f"{SVG}text"):
        text, size = element.text or "", float(element.get("font-size") or 0)
        assert size >= 13
        length = LETTER[element.get("font-weight") or "normal"] * size * len(unicodedata.normalize("NFC", text))
        x, y = float(element.get("x") or 0), float(element.get("y") or 0)
        left = x - {"start": 0.0, "middle": length / 2, "end": length}[element.get("text-anchor") or "start"]
        assert left >= 0, text
        assert left + length <= width, text
        assert size <= y <= height - 6, text
    for element in root.iter(f"{SVG}polyline"):
        for point in (element.get("points") or "").split():
            x, y = map(float, point.split(","))
            assert 0 <= x <= width, point
            assert 0 <= y <= height, point


def test_each_drawing_stands_on_a_page_with_words_for_those_who_cannot_see_it() -> None:
    shown = set()
    for page in (TOP / "docs").glob("*.md"):
        for words, name in re.findall(r"!\[([^\]]*)\]\(drawings/([a-z-]+\.svg)\)", page.read_text("utf-8")):
            assert len(words) > 20, name
            shown.add(name)
    assert shown == {file.name for file in FILES}
