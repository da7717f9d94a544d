"""Reads the cellar file: text -> tables -> a consistent cellar, or every problem at once."""

from __future__ import annotations

__all__ = ["load_cellar", "parse_cellar"]

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from ingest.cellar.checks.ids import id_problems
from ingest.cellar.default_limits import effective_limits
from ingest.cellar.draft import CellarDraft
from ingest.cellar.tables import TABLES, Cellar
from ingest.cellar.toml_text import read_toml
from ingest.errors import CellarFileError, Problem

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
    written, not_toml = read_toml(text)
    if not_toml and not written:
        raise CellarFileError(file, not_toml)
    draft = CellarDraft(written, TABLES)
    problems = [*not_toml, *draft.problems, *_between_tables(draft)]
    if draft.problems:
        problems += _also_wrong(draft, problems)
    if problems:
        raise CellarFileError(file, problems)
    tables: dict[str, Any] = {kind.name: draft.value(kind) for kind in TABLES}
    limits = effective_limits(
        tables["vessel"],
        tables["probe"],
        tables["limit"],
        units=tables["site"].units,
        cylinders=tables["cylinder"],
    )
    return Cellar(**tables, limits=limits, base=base, file=file, text=text)


def _between_tables(draft: CellarDraft) -> Iterator[Problem]:
    """Find what is wrong between the keys of a table, and between tables."""
    yield from id_problems(draft)
    for kind in TABLES:
        if kind.check is not None:
            yield from kind.check(draft)


def _also_wrong(draft: CellarDraft, known: Sequence[Problem]) -> list[Problem]:
    """Find what else is wrong with keys of tables that could not be read, so that no mistake hides another one."""
    readable = draft.without_wrong_keys()
    keys = {table.label: table.raw.keys() for kind in TABLES for table in readable.written(kind.model)}
    unread = {problem.table for problem in draft.problems}
    return [
        problem
        for problem in (*readable.problems, *_between_tables(readable))
        if problem.table in unread and problem.key in keys.get(problem.table, ()) and problem not in known
    ]


def _unreadable(file: str, what: str) -> CellarFileError:
    return CellarFileError(file, [Problem("the file", "", "", what)])
