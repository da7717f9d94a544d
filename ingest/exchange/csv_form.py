"""Readings as a table of text, a row each, which ``leeside import`` takes without further options."""

from __future__ import annotations

__all__ = ["HEAD", "csv_rows"]

import csv
import io
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import islice
from typing import Final

from ingest.exchange.layout import OWN_COLUMNS, Series
from ingest.reading import quality_class

HEAD: Final = ",".join(OWN_COLUMNS) + "\n"

_AT_ONCE: Final = 1000
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


def csv_rows(names: Series, unit: str, readings: Iterable[tuple[int, float, int]]) -> Iterator[str]:
    """Yield text for readings (at_ms, value, quality) of a series, many rows at once; RFC 3339 in UTC, exact values."""
    rest = iter(readings)
    while some := list(islice(rest, _AT_ONCE)):
        piece = io.StringIO()
        writer = csv.writer(piece, lineterminator="\n")
        writer.writerows(
            (_time(at_ms), *names, repr(value), unit, quality_class(quality).name.lower())
            for at_ms, value, quality in some
        )
        yield piece.getvalue()


def _time(at_ms: int) -> str:
    return (_EPOCH + timedelta(milliseconds=at_ms)).isoformat(timespec="milliseconds")[:23] + "Z"
