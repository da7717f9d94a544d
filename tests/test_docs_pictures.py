"""The pictures of the docs are small, are those that their script takes, and are shown with words for them."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Final

TOP: Final = Path(__file__).resolve().parent.parent
FOLDER: Final = TOP / "docs" / "pictures"
MOST_BYTES: Final = 150_000


def test_each_picture_is_small_taken_by_the_script_and_shown_with_words() -> None:
    script = ast.parse((FOLDER / "take.py").read_text("utf-8"))
    (taken,) = (
        {key.value for key in node.value.keys if isinstance(key, ast.Constant)}
        for node in script.body
        if isinstance(node, ast.AnnAssign)
        and getattr(node.target, "id", "") == "PICTURES"
        and isinstance(node.value, ast.Dict)
    )
    files = {file.stem: file for file in FOLDER.glob("*.png")}
    assert set(files) == taken
    assert {name: size for name, file in files.items() if (size := file.stat().st_size) > MOST_BYTES} == {}
    shown = set()
    for page in (TOP / "README.md", *(TOP / "docs").glob("*.md")):
        for words, name in re.findall(r"!\[([^]]*)\]\([^)]*pictures/([\w-]+)\.png\)", page.read_text("utf-8")):
            assert len(words) > 10, (page.name, name)
            shown.add(name)
    assert shown == taken
