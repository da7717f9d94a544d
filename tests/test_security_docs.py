"""The page on security names a test for each of its lines; the tests are there."""

from __future__ import annotations

import re
from pathlib import Path

TESTS = Path(__file__).parent
PAGE = TESTS.parent / "docs" / "security.md"


def test_each_line_of_what_stands_against_an_attempt_names_tests_that_exist() -> None:
    text = PAGE.read_text(encoding="utf-8")
    section = text.partition("## What stands against it")[2].partition("\n## ")[0].partition("\nA reading")[0]
    rows = [line for line in section.splitlines() if line.startswith("| ")][1:]
    assert len(rows) > 10
    for row in rows:
        named = re.findall(r"`(test_\w+\.py)::(test_\w+)`", row)
        assert named, row
        for file, test in named:
            assert f"def {test}(" in (TESTS / file).read_text(encoding="utf-8"), f"{file} has no {test}"
