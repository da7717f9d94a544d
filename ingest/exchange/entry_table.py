"""Entries of the journal as a table of text for a spreadsheet, a row each. It is written but never read."""

from __future__ import annotations

__all__ = ["ENTRY_COLUMNS", "entry_row", "table_rows"]

import csv
import io
from collections.abc import Iterable
from typing import Final

from ingest.exchange.entry_lines import entry_object
from ingest.journal.entry import Entry
from ingest.journal.kinds import body_words
from ingest.json_text import json_text
from ingest.times import iso_utc

ENTRY_COLUMNS: Final = (
    "id",
    "at",
    "kind",
    "places",
    "lot",
    "said",
    "remark",
    "who",
    "written",
    "struck",
    "struck_by",
    "struck_because",
    "body",
)

# A spreadsheet takes a cell that begins with one of these for a formula, and runs it.
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def table_rows(rows: Iterable[tuple[str, ...]]) -> str:
    """Write rows as text, quoted where needed (RFC 4180)."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def entry_row(entry: Entry) -> tuple[str, ...]:
    """Give the cells of ``ENTRY_COLUMNS``; said: the body in words; body: as in the entry's line."""
    struck = entry.struck
    return (
        str(entry.id),
        iso_utc(entry.at_ms),
        entry.kind,
        ", ".join(entry.places),
        entry.lot or "",
        _cell(body_words(entry.body, entry.lot)),
        _cell(getattr(entry.body, "remark", None) or ""),
        _cell(entry.who),
        iso_utc(entry.written_ms),
        "" if struck is None else iso_utc(struck.at_ms),
        "" if struck is None else _cell(struck.who),
        "" if struck is None else _cell(struck.reason),
        json_text(entry_object(entry)["body"]),
    )


def _cell(text: str) -> str:
    return f"'{text}" if text.startswith(_FORMULA) else text
