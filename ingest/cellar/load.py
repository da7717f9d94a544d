"""Reads the cellar file: text -> tables -> a consistent cellar, or every problem at once."""

from __future__ import annotations

__all__ = ["load_cellar", "parse_cellar"]

import re
import tomllib
from pathlib import Path
from typing import Any, Final

from ingest.cellar.checks.ids import id_problems
from ingest.cellar.default_limits import effective_limits
from ingest.cellar.draft import CellarDraft
from ingest.cellar.tables import TABLES, Cellar
from ingest.errors import CellarFileError, Problem

_WHERE: Final = re.compile(r"(.*) \(at (line [0-9]+, column [0-9]+|end of document)\)", re.DOTALL)
_LARGEST_BYTES: Final = 4_000_000


def load_cellar(path: Path) -> Cellar:
    """Read and check a cellar file. Raises CellarFileError with every problem found."""
    file = str(path)
    try:
        with path.open("rb") as opened:
            data = opened.read(_LARGEST_BYTES + 1)
    except IsADirectoryError:
        raise _unreadable(file, "is a folder; name the cellar file in it") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL character in the path
        reason = getattr(error, "strerror", None) or error
        raise _unreadable(file, f"cannot be read: {reason}; look at the path and its permissions") from None
    if len(data) > _LARGEST_BYTES:
        raise _unreadable(file, f"is larger than {_LARGEST_BYTES} bytes, so it is not a cellar file")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _unreadable(
            file, f"is not UTF-8: line {line} holds the byte 0x{data[error.start]:02x}; save it as UTF-8"
        ) from None
    return parse_cellar(text, file=file, base=path.parent)


def parse_cellar(text: str, *, file: str, base: Path) -> Cellar:
    """Read and check the text of a cellar file.

    file: its name, for messages; base: the folder that its relative paths count from.
    Raises CellarFileError with every problem found.
    """
    draft = CellarDraft(_tables(text, file), TABLES)
    problems = [*draft.problems, *id_problems(draft)]
    for kind in TABLES:
        if kind.check is not None:
            problems += kind.check(draft)
    if problems:
        raise CellarFileError(file, problems)
    tables: dict[str, Any] = {kind.name: draft.value(kind) for kind in TABLES}
    limits = effective_limits(tables["vessel"], tables["probe"], tables["limit"], units=tables["site"].units)
    return Cellar(**tables, limits=limits, base=base, file=file, text=text)


def _unreadable(file: str, what: str) -> CellarFileError:
    return CellarFileError(file, [Problem("the file", "", "", what)])


def _tables(text: str, file: str) -> dict[str, object]:
    try:
        return tomllib.loads(text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}"))
    except RecursionError:
        raise CellarFileError(file, [Problem("the file", "", "", "not TOML: brackets are nested too deep")]) from None
    except ValueError as error:  # TOMLDecodeError is one; a number with thousands of digits raises the bare one
        match = _WHERE.fullmatch(str(error))
        reason, where = match.groups() if match else (str(error), "the file")
        raise CellarFileError(file, [Problem(where, "", "", f"not TOML: {reason}")]) from None
