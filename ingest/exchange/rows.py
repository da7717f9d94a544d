"""From the rows of a table to readings, or to reasons why not, each with its line."""

from __future__ import annotations

__all__ = ["EXAMPLES", "Column", "RefusedRow", "Rows"]

from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final, Literal

from ingest.cellar import QUANTITIES
from ingest.errors import Unreadable
from ingest.exchange.layout import OWN_COLUMNS, Layout, Series
from ingest.exchange.moments import Moments
from ingest.reading import LARGEST_VALUE, Quality
from ingest.sources.number import parse_number

EXAMPLES: Final = 3

_CLASSES: Final[Mapping[str, int]] = {quality.name.lower(): int(quality) for quality in Quality}


@dataclass(slots=True)
class RefusedRow:
    """What was refused for one reason: how many, and the first few as (line, what was found)."""

    times: int = 0
    examples: list[tuple[int, str]] = field(default_factory=list)


@dataclass(slots=True)
class Column:
    """Readings of one series in the order of the rows: UTC ms, value as written, class of quality."""

    at_ms: array[int] = field(default_factory=lambda: array("q"))
    value: array[float] = field(default_factory=lambda: array("d"))
    quality: array[int] = field(default_factory=lambda: array("B"))


class Rows:
    """Reads rows one by one; ``columns`` collects ``held`` readings until the caller takes them out."""

    def __init__(
        self,
        layout: Layout,
        moments: Moments,
        decimal: Literal[".", ","] = ".",
        largest: Mapping[int, float] = MappingProxyType({}),
    ) -> None:
        """largest: series id -> the largest size of a cell that can be converted; ``LARGEST_VALUE`` for the others."""
        self._layout = layout
        self._largest = largest
        self._moments = moments
        self._decimal = decimal
        self.columns: dict[int, Column] = {}
        self.refused: dict[str, RefusedRow] = {}
        self.held = 0
        self.rows = 0

    def take(self, line: int, row: Sequence[str]) -> None:
        """Take the row that ends in that line; an empty line is not a row. Never raises."""
        if not row:
            return
        self.rows += 1
        try:
            if self._layout.own is not None:
                self._take_own(row, self._layout.own)
                return
            if self._layout.at >= len(row):
                raise Unreadable("too few cells", f"{len(row)} cells")
            at_ms = self._moments.at_ms(row[self._layout.at])
        except Unreadable as error:
            self._refuse(line, error)
            return
        for place, series in self._layout.values:
            try:
                if place >= len(row):
                    raise Unreadable("too few cells", f"{len(row)} cells")
                self._keep(series, at_ms, parse_number(row[place], decimal=self._decimal), 0)
            except Unreadable as error:
                self._refuse(line, error)

    def take_out(self) -> dict[int, Column]:
        """Return what was collected, by series id, and begin again with nothing."""
        columns, self.columns, self.held = self.columns, {}, 0
        return columns

    def _take_own(self, row: Sequence[str], known: Mapping[Series, int]) -> None:
        if len(row) != len(OWN_COLUMNS):
            raise Unreadable("too few cells", f"{len(row)} cells, {len(OWN_COLUMNS)} are needed")
        at, probe, place, quantity, value, unit, quality = row
        series = known.get((probe, place, quantity))
        if series is None:
            raise Unreadable("no such series in the store", f"probe {probe!a}, place {place!a}, quantity {quantity!a}")
        if unit != QUANTITIES[quantity].unit:
            raise Unreadable("another unit", f"{unit!a}, {QUANTITIES[quantity].unit} is needed")
        if quality not in _CLASSES:
            raise Unreadable("not a quality", f"{quality!a}, allowed are {', '.join(_CLASSES)}")
        self._keep(series, self._moments.at_ms(at), parse_number(value), _CLASSES[quality])

    def _keep(self, series: int, at_ms: int, value: float, quality: int) -> None:
        if abs(value) > self._largest.get(series, LARGEST_VALUE):
            raise Unreadable("not finite", f"{value:g} is too large to be converted")
        column = self.columns.get(series)
        if column is None:
            column = self.columns[series] = Column()
        column.at_ms.append(at_ms)
        column.value.append(value)
        column.quality.append(quality)
        self.held += 1

    def _refuse(self, line: int, error: Unreadable) -> None:
        refused = self.refused.setdefault(error.reason, RefusedRow())
        refused.times += 1
        if len(refused.examples) < EXAMPLES:
            refused.examples.append((line, error.detail))
