"""A table of readings over one wine, as `leeside bench leak` takes it."""

from __future__ import annotations

__all__ = ["OPTIONAL", "REQUIRED", "read_blanket_table"]

import csv
from collections.abc import Iterable, Iterator
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange
from alerts.gas.blanket import BAROMETER_RANGE, GAUGE_RANGE
from alerts.gas.blanket_facts import BlanketPoint
from alerts.gas.wine_density import TEMPERATURE_RANGE
from ingest.errors import Unreadable
from ingest.sources.number import parse_number
from ingest.times import parse_rfc3339

REQUIRED: Final = ("at", "pressure_kpa", "temperature_c")
OPTIONAL: Final = ("barometer_kpa", "room_c")
_ROOM_RANGE: Final = AllowedRange("room temperature", -30.0, 60.0, "°C", "a cellar has")
_RANGES: Final = {
    "pressure_kpa": GAUGE_RANGE,
    "temperature_c": TEMPERATURE_RANGE,
    "barometer_kpa": BAROMETER_RANGE,
    "room_c": _ROOM_RANGE,
}


def read_blanket_table(lines: Iterable[str]) -> Iterator[BlanketPoint]:
    """Read points from lines of CSV. A row without a pressure or a temperature is left out: that is a gap.

    Raises OutOfRange, of "table", which names the line, for a header that is not as it should be, a row of another
    length, a time that is not RFC 3339 with its zone, and a number that is not one or is out of its range.
    """
    rows = csv.reader(lines)
    try:
        head = [name.strip().removeprefix("\ufeff") for name in next(rows, [])]
        _check_head(head)
        for row in rows:
            if row and any(cell.strip() for cell in row):
                point = _point(head, row, rows.line_num)
                if point is not None:
                    yield point
    except csv.Error as error:
        raise OutOfRange("table", f"line {rows.line_num}: {error}") from None
    except UnicodeDecodeError:
        raise OutOfRange("table", "it is not UTF-8 text") from None


def _check_head(head: list[str]) -> None:
    named = ",".join(REQUIRED)
    missing = [name for name in REQUIRED if name not in head]
    unknown = [name for name in head if name not in REQUIRED + OPTIONAL]
    twice = [name for name in dict.fromkeys(head) if head.count(name) > 1]
    if missing or unknown or twice:
        what = [
            *(f"no column {name}" for name in missing),
            *(f"column '{name}' is not known" for name in unknown),
            *(f"column {name} is there twice" for name in twice),
        ]
        raise OutOfRange(
            "table",
            f"{'; '.join(what)}. The first line must be {named}; {' and '.join(OPTIONAL)} may follow",
        )


def _point(head: list[str], row: list[str], line: int) -> BlanketPoint | None:
    if len(row) != len(head):
        raise OutOfRange("table", f"line {line}: {len(row)} values, where the first line names {len(head)} columns")
    cells = {name: cell.strip() for name, cell in zip(head, row, strict=True)}
    try:
        at_ms = parse_rfc3339(cells["at"])
    except (ValueError, Unreadable):
        raise OutOfRange(
            "table",
            f"line {line}: at '{cells['at']}' is not a time; write RFC 3339 with the zone, such as "
            "2026-11-25T10:00:00Z or 2026-11-25T11:00:00+01:00",
        ) from None
    pressure, temperature, barometer, room = (
        _number(cells.get(name, ""), name, line) for name in ("pressure_kpa", "temperature_c", *OPTIONAL)
    )
    if pressure is None or temperature is None:
        return None
    return BlanketPoint(at_ms, pressure, temperature, barometer, room)


def _number(cell: str, name: str, line: int) -> float | None:
    if not cell:
        return None
    try:
        return _RANGES[name].checked(parse_number(cell))
    except Unreadable as error:
        raise OutOfRange("table", f"line {line}: {name} '{cell}' is not a usable number ({error.reason})") from None
    except OutOfRange as error:
        raise OutOfRange("table", f"line {line}: {name}: {error}") from None
