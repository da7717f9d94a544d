"""Which series the columns of an imported table belong to, and how their cells become readings of these series."""

from __future__ import annotations

__all__ = ["TableForm", "Target", "layout_and_targets"]

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import typer

from alerts.command.opened_cellar import declared_probe
from ingest.calibrating import series_now
from ingest.cellar import QUANTITIES, Cellar, UnitError, find_unit, plausible_range, series_unit_conversion
from ingest.errors import IngestError
from ingest.exchange.layout import Layout, own_layout, wide_layout
from ingest.exchange.moments import DateOrder
from ingest.exchange.numbers import imported_quality, numbers_behind
from ingest.exchange.rows import Column
from ingest.reading import LARGEST_VALUE, Scale
from ingest.store import Store
from ingest.store.readings.block import Arrays
from ingest.store.readings.scales import scales
from ingest.store.readings.scaling import scaled
from ingest.store.readings.series import Series, all_series


class TableForm(NamedTuple):
    """How to read a table.

    at: the column of the times; columns: probe -> column of its values, empty for a table that `leeside export` wrote;
    unit: of the values, None for what the probe sends; zone: of times that name none, None for the site's; dates: what
    comes first in a date with slashes, None to refuse them.
    """

    at: str | None
    columns: Mapping[str, str]
    unit: str | None = None
    zone: ZoneInfo | None = None
    decimal: Literal[".", ","] = "."
    delimiter: str = ","
    dates: DateOrder | None = None


@dataclass(frozen=True, slots=True)
class Target:
    """The series that readings go to, and what a cell means.

    conversion: (gain, offset) from a cell to a value in the quantity's unit; None where a cell is what the probe itself
    sends, which the dated scales make a value of. low, high: the plausible values.
    """

    series: Series
    dated: list[Scale]
    conversion: tuple[float, float] | None
    low: float
    high: float

    @property
    def largest_cell(self) -> float:
        """Up to where a cell can be converted, with either sign."""
        gains = [abs(scale.gain) for scale in self.dated]
        return LARGEST_VALUE / max(1.0, *gains, abs(self.conversion[0]) if self.conversion else 1.0)

    def readings(self, column: Column) -> Arrays:
        """Make readings of the cells of a column."""
        at_ms = np.array(column.at_ms, np.int64)
        cells = np.array(column.value, np.float64)
        classes = np.array(column.quality, np.uint8)
        if self.conversion is None:
            numbers = cells
            values = scaled(Arrays(at_ms, cells, classes.astype(np.uint16)), self.dated).number
        else:
            gain, offset = self.conversion
            values = gain * cells + offset
            numbers = numbers_behind(at_ms, values, self.dated)
        return Arrays(at_ms, numbers, imported_quality(classes, values, self.low, self.high))


def layout_and_targets(
    first_row: Sequence[str], form: TableForm, cellar: Cellar, store: Store
) -> tuple[Layout, dict[int, Target]]:
    """Find out which column is what, and the target of each series id.

    Raises typer.BadParameter for options that do not suit the table or the cellar, IngestError for a new probe.
    """
    if not form.columns:
        known = all_series(store)
        layout = own_layout(first_row, {(row.probe, row.place, row.quantity): row.id for row in known})
        if layout is None:
            raise typer.BadParameter(
                "`leeside export --csv` did not write this table; say which columns are which with --probe, --at and"
                " --value, or with --at and --map"
            )
        # Such a table has the quality of each value, so none is judged again.
        return layout, {row.id: Target(row, scales(store, row.id), (1.0, 0.0), -inf, inf) for row in known}
    targets = {}
    columns = []
    for probe, column in form.columns.items():
        series = series_now(store, declared_probe(cellar, probe, "--probe, --map"))
        targets[series.id] = _target(series, form.unit, cellar, store)
        columns.append((column, series.id))
    try:
        return wide_layout(first_row, form.at or "", columns), targets
    except IngestError as error:
        raise typer.BadParameter(str(error), param_hint="--at, --value, --map") from error


def _target(series: Series, unit: str | None, cellar: Cellar, store: Store) -> Target:
    dated = scales(store, series.id)
    low, high = plausible_range(series.quantity, cellar.place_kind(series.place))
    if unit is None:
        return Target(series, dated, None, low, high)
    row = QUANTITIES[series.quantity]
    try:
        reference = find_unit(row.dimension, unit).reference
        conversion = series_unit_conversion(series.quantity, unit)
    except UnitError as error:
        raise typer.BadParameter(str(error), param_hint="--unit") from error
    if reference is not None and reference != row.pressure:
        raise typer.BadParameter(
            f'"{unit}" is {reference} pressure, but {series.quantity} is kept as {row.pressure} pressure; without '
            "--unit the numbers are taken as the probe itself would send them",
            param_hint="--unit",
        )
    return Target(series, dated, conversion, low, high)
