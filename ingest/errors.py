"""The errors of ingest, one small tree.

IngestError                what happened, with which value, what is allowed, what to do next
├── CellarFileError        the cellar file is wrong; carries every problem found, all at once
├── StoreError             the store cannot be used
│   ├── StoreMissing       there is no store at that path yet
│   ├── StoreTooNew        written by a newer leeside
│   ├── StoreHeld          another process of the same role has it
│   ├── StoreBusy          another program holds its lock
│   ├── StoreGone          deleted or replaced while it was open
│   └── StoreUnwritable    read-only disk, no permission, or the disk is full
├── EntryRefused           an entry of the journal, or a strike, that is impossible; carries every problem found
├── TextRefused            a text from a person that does not fit into one line
├── Unreadable             a sample that is not a reading; carries a short reason that can be counted
└── SourceError            a broker or line cannot be used as the cellar file says
"""

from __future__ import annotations

__all__ = [
    "CellarFileError",
    "EntryRefused",
    "IngestError",
    "SourceError",
    "StoreBusy",
    "StoreError",
    "StoreGone",
    "StoreHeld",
    "StoreMissing",
    "StoreTooNew",
    "StoreUnwritable",
    "TextRefused",
    "Unreadable",
]

from collections.abc import Sequence
from dataclasses import dataclass


class IngestError(Exception):
    """Root of everything that ingest raises on purpose; its text can be shown to a person."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in a cellar file or an entry.

    table: the table as written, such as ``[[probe]] k1-pressure``; key: the key inside it, or "";
    value: the value found, as text, or ""; allowed: what is wrong and what would be right.
    """

    table: str
    key: str
    value: str
    allowed: str

    def __str__(self) -> str:
        where = self.table + (f" {self.key}" if self.key else "")
        found = f" = {self.value}" if self.value else ""
        return f"{where}{found}: {self.allowed}"


class CellarFileError(IngestError):
    """A cellar file with mistakes: all of them, each with table, key, value and what is allowed."""

    def __init__(self, file: str, problems: Sequence[Problem]) -> None:
        self.file = file
        self.problems = tuple(problems)
        super().__init__("\n".join(f"{file}: {problem}" for problem in self.problems))


class EntryRefused(IngestError):
    """An entry of the journal, or a strike, that is impossible.

    problems: each with what it is about, key, value and what is allowed; later: the ids of entries that it would make
    impossible, which can be struck with it.
    """

    def __init__(self, problems: Sequence[Problem], later: Sequence[int] = ()) -> None:
        self.problems = tuple(problems)
        self.later = tuple(later)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class StoreError(IngestError):
    """The store cannot be used as asked."""


class StoreMissing(StoreError):
    """No store at that path yet."""


class StoreTooNew(StoreError):
    """The store was written by a newer leeside."""


class StoreHeld(StoreError):
    """Another process of the same role works on this store."""


class StoreBusy(StoreError):
    """Another program has held the store's lock for too long."""


class StoreGone(StoreError):
    """The file that is open is no longer the one at the store's path, so what is written into it is lost."""


class StoreUnwritable(StoreError):
    """The store's disk or folder cannot be written to."""


class SourceError(IngestError):
    """A broker or a serial line cannot be used as the cellar file says."""


class TextRefused(IngestError):
    """A text that a person gave is too long, or holds characters that a terminal or a mail would obey."""


class Unreadable(IngestError):
    """A sample that cannot become a reading.

    reason: a short fixed phrase by which rejects are counted, such as ``not a number``;
    detail: what was found, for the log.
    """

    def __init__(self, reason: str, detail: str = "") -> None:
        self.reason = reason
        self.detail = detail
        super().__init__(f"{reason}: {detail}" if detail else reason)
