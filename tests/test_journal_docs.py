"""docs/journal.md tells every key of an entry's line, and its example is one that is taken."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any, Final, get_args
from zoneinfo import ZoneInfo

import pytest
from journal_entries import a_body
from pydantic import BaseModel

from ingest.exchange.entry_lines import entry_object, read_entry_lines
from ingest.journal.entry import Entry, Strike
from ingest.journal.kinds import KINDS

PAGE: Final = (Path(__file__).resolve().parent.parent / "docs" / "journal.md").read_text(encoding="utf-8")
SECTION: Final = PAGE.split("\n## An entry as a line\n")[1].split("\n## ")[0]


def _rows() -> dict[str, str]:
    return dict(re.findall(r"^\| `([a-z-]+)` \| (.+?) \|", SECTION, re.MULTILINE))


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in get_args(annotation) for model in _models(inner)]


def _keys(model: type[BaseModel]) -> set[str]:
    inner = [key for field in model.model_fields.values() for one in _models(field.annotation) for key in _keys(one)]
    return {name.removesuffix("_ms") for name in model.model_fields} | set(inner)


@pytest.mark.parametrize("kind", KINDS)
def test_each_key_of_a_body_is_told_and_no_other(kind: str) -> None:
    keys = _keys(KINDS[kind].body) - {"remark", "warnings", "notes", "typed", "text", "question"}
    told = set(re.findall(r"`([a-z0-9_]+)`", _rows()[kind]))
    # Only the titration tells what a strength is made of; the rest in such marks are values.
    assert keys - {"number", "meaning"} <= told
    assert all("remark" in known.body.model_fields for known in KINDS.values())
    assert {key for key in told if "_" in key} <= keys


def test_each_key_of_a_line_is_told() -> None:
    entry = Entry(1, "sample", 0, 0, "Ana", "K1", None, a_body("sample"), Strike(0, "Ana", "x"))
    found: Any = entry_object(entry)
    for key in (*found, *found["struck"]):
        assert f"`{key}`" in SECTION


def test_the_example_is_taken() -> None:
    (example,) = re.findall(r"```json\n(.+?)\n```", SECTION)
    found = read_entry_lines(io.BytesIO(example.encode()), ZoneInfo("UTC"), 0)
    assert (len(found.entries), found.mistakes) == (1, [])
