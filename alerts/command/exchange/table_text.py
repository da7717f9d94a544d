"""A table of text (CSV): opened in the encodings that spreadsheets write, and read row by row."""

from __future__ import annotations

__all__ = ["open_table", "table_rows"]

import csv
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import TextIOWrapper
from itertools import chain
from pathlib import Path
from typing import Final

from ingest.errors import IngestError

_SEPARATOR: Final = re.compile(r"\s*sep=(.)\s*", re.IGNORECASE)
# Of as many of each the first one.
_DELIMITERS: Final = (",", ";", "\t")


@contextmanager
def open_table(table: Path) -> Iterator[tuple[TextIOWrapper, Callable[[], int]]]:
    """Open a table of text, and say how many of its bytes are read so far."""
    try:
        stream = table.open("rb")
    except OSError as error:
        raise IngestError(f"{table}: cannot be read: {error.strerror}") from error
    with stream:
        # Spreadsheets save "Unicode text" as UTF-16 with a mark in front; all else is UTF-8, with or without one.
        start = stream.read(2)
        stream.seek(0)
        encoding = "utf-16" if start in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
        text = TextIOWrapper(stream, encoding=encoding, errors="replace", newline="")
        yield text, stream.tell
        text.detach()


def table_rows(table: Path, text: TextIOWrapper, delimiter: str | None) -> Iterator[tuple[int, list[str]]]:
    """Give the rows, each with the line that it ends in.

    delimiter: None to find it by the first line. A line such as ``sep=;`` in front, which spreadsheets write, says it.
    """
    first = text.readline()
    skipped, lines = 0, chain([first], text)
    separator = _SEPARATOR.fullmatch(first)
    if separator is not None:
        delimiter, skipped, lines = separator[1], 1, chain(text)
    elif delimiter is None:
        delimiter = max(_DELIMITERS, key=first.count)
    reader = csv.reader(lines, delimiter=delimiter)
    try:
        for row in reader:
            yield reader.line_num + skipped, row
    except csv.Error as error:
        raise IngestError(
            f"{table}, line {reader.line_num + skipped}: this is not a table of text ({error}); is a quote left open?"
        ) from error
