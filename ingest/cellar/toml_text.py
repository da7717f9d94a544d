"""The text of a cellar file as TOML: its tables, with words that lack their quotes named all at once."""

from __future__ import annotations

__all__ = ["read_toml"]

import json
import re
import tomllib
from typing import Final

from ingest.errors import Problem

_WHERE: Final = re.compile(r"(.*) \(at (?:line ([0-9]+), column [0-9]+|end of document)\)", re.DOTALL)
# A key with words that TOML takes for nothing: no quote, bracket or brace in them, and no comment before they begin.
_BARE_WORDS: Final = re.compile(r"(\s*([A-Za-z0-9_-]+)\s*=\s*)([^\s\"'#\[{][^\"'#\[\]{}]*?)(\s*(?:#.*)?)")
# So many lines are put right to look for more; a file with more of them is not one that a person wrote.
_MOST: Final = 200


def read_toml(text: str) -> tuple[dict[str, object], list[Problem]]:
    """Read the tables of a text, as if words without quotes had them, each of which is a problem.

    What cannot be read for another reason ends the list of problems, and there are no tables then.
    """
    lines = text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}").split("\n")
    problems: list[Problem] = []
    while True:
        try:
            return tomllib.loads("\n".join(lines)), problems
        except RecursionError:
            return {}, [*problems, Problem("the file", "", "", "not TOML: brackets are nested too deep")]
        except ValueError as error:  # TOMLDecodeError is one; a number with thousands of digits raises the bare one
            number = _line_number(str(error))
            words = None if number is None else _BARE_WORDS.fullmatch(lines[number - 1].rstrip("\r"))
            if number is None or words is None or len(problems) == _MOST:
                return {}, [*problems, _other(str(error))]
        start, key, value, rest = words.groups()
        quoted = json.dumps(value, ensure_ascii=False)
        problems.append(Problem(f"line {number}", key, value, f"text needs quotes: write {key} = {quoted}"))
        lines[number - 1] = f"{start}{quoted}{rest}"


def _line_number(error: str) -> int | None:
    match = _WHERE.fullmatch(error)
    return int(match[2]) if match and match[2] else None


def _other(error: str) -> Problem:
    match = _WHERE.fullmatch(error)
    reason, where = (match[1], error[len(match[1]) + len(" (at ") : -1]) if match else (error, "the file")
    return Problem(where, "", "", f"not TOML: {reason}")
