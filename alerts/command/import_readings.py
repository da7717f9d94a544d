"""`leeside import`: readings of the past from a table; first what would be taken and what not, then with --write."""

from __future__ import annotations

__all__ = ["TableForm", "import_readings"]

import csv
import io
import json
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import typer

from alerts.command.opened_cellar import open_cellar, wall_ms
from alerts.view.format import long_time
from ingest.cellar import QUANTITIES, Cellar, UnitError, find_unit, plausible_range, series_unit_conversion
from ingest.errors import IngestError
from ingest.exchange.layout import Layout, own_layout, wide_layout
from ingest.exchange.moments import Moments
from ingest.exchange.numbers import imported_quality, numbers_behind
from ingest.exchange.rows import Column, Rows
from ingest.reading import Scale
from ingest.store import Store
from ingest.store.change_feed import DROPPED, cursor
from ingest.store.readings.block import Arrays
from ingest.store.readings.bulk_import import Brought, BulkImport, Piece
from ingest.store.readings.scales import scales
from ingest.store.readings.scaling import scaled
from ingest.store.readings.series import Series, all_series
from ingest.store.readings.settling import DAY_MS
from ingest.times import EARLIEST_MS, iso_utc

# Readings that are held in memory before they are brought in: some 20 MB.
_HELD: Final = 500_000
# How many rows lie between two looks at how far the table is read.
_STEP: Final = 20_000


class TableForm(NamedTuple):
    """How to read the table: the column of the times; probe -> column of its values, empty for a table that `leeside
    export` wrote; their unit, None for what the probe sends; the zone of times that name none, None for the site's."""

    at: str | None
    columns: Mapping[str, str]
    unit: str | None = None
    zone: str | None = None
    decimal: str = "."
    delimiter: str = ","


@dataclass(frozen=True, slots=True)
class _Target:
    """Where readings go, and how a cell becomes a number: told in the probe's own unit (gain None), or a value that is
    gain x cell + offset in the quantity's unit."""

    series: Series
    dated: list[Scale]
    gain: float | None
    offset: float
    low: float
    high: float


def import_readings(file: Path, table: Path, form: TableForm, *, write: bool, as_json: bool) -> int:
    """Show what the table holds, and with ``write`` bring it in.

    Exit code 0 if it holds readings, new ones or some that are there already; 1 if it holds none; 2 for a wrong call.
    """
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store):
        zone = _zone_of(form.zone, cellar)
        with _reading(table, form.delimiter) as (rows, progress):
            first = next(rows, (0, []))
            layout, targets = _layout_of(first[1], form, cellar, store)
            moments = Moments(zone, now_ms, _earliest_ms(cellar, store, now_ms))
            taking = Rows(layout, moments, "," if form.decimal == "," else ".")
            if not layout.headed:
                taking.take(*first)
            intake = BulkImport(store, list(targets), rehearse=not write)
            with _bar(table, "writing" if write else "looking", hidden=as_json) as advance:
                for line, row in rows:
                    taking.take(line, row)
                    if taking.held >= _HELD:
                        intake.take(_pieces(taking, targets))
                    if line % _STEP == 0:
                        advance(progress())
                intake.take(_pieces(taking, targets))
                advance(progress())
        found = {targets[number].series: brought for number, brought in intake.brought.items() if brought.found}
        if as_json:
            _print_json(table, taking, found, written=write)
        else:
            _print(table, taking, found, zone, written=write)
    return 0 if found else 1


# ---- the table -----------------------------------------------------------------------------------------------------


@contextmanager
def _reading(table: Path, delimiter: str) -> Iterator[tuple[Iterator[tuple[int, list[str]]], Callable[[], int]]]:
    """The rows of a table, each with its line, and how many of its bytes are read so far."""
    try:
        stream = table.open("rb")
    except OSError as error:
        raise IngestError(f"{table}: cannot be read: {error.strerror}") from error
    with stream:
        # Spreadsheets save "Unicode text" as UTF-16 with a mark in front; all else is UTF-8, with or without one.
        start = stream.read(2)
        stream.seek(0)
        encoding = "utf-16" if start in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
        text = io.TextIOWrapper(stream, encoding=encoding, errors="replace", newline="")
        yield _rows(table, csv.reader(text, delimiter=delimiter)), stream.tell
        text.detach()


def _rows(table: Path, reader: Iterator[list[str]]) -> Iterator[tuple[int, list[str]]]:
    numbered = reader
    while True:
        try:
            row = next(numbered)
        except StopIteration:
            return
        except csv.Error as error:
            line = numbered.line_num  # type: ignore[attr-defined]  # the csv module's reader has no public type
            raise IngestError(
                f"{table}, line {line}: this is no table of text ({error}); is a quote left open?"
            ) from error
        yield numbered.line_num, row  # type: ignore[attr-defined]  # the same


@contextmanager
def _bar(table: Path, word: str, *, hidden: bool) -> Iterator[Callable[[int], None]]:
    """A bar on the terminal that follows the bytes read."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    if hidden or not console.is_terminal:
        yield lambda place: None
        return
    with Progress(console=console, transient=True) as progress:
        task = progress.add_task(word, total=table.stat().st_size)
        yield lambda place: progress.update(task, completed=place)


# ---- what was asked for --------------------------------------------------------------------------------------------


def _layout_of(
    first: Sequence[str], form: TableForm, cellar: Cellar, store: Store
) -> tuple[Layout, dict[int, _Target]]:
    known = all_series(store)
    if not form.columns:
        layout = own_layout(first, {(row.probe, row.place, row.quantity): row.id for row in known})
        if layout is None:
            raise typer.BadParameter(
                "this is no table that `leeside export --csv` wrote; say which columns are which with --probe, --at and"
                " --value, or with --at and --map"
            )
        # Such a table tells the quality of each value, so none is judged anew.
        return layout, {
            row.id: _Target(row, scales(store, row.id), 1.0, 0.0, float("-inf"), float("inf")) for row in known
        }
    targets = {}
    columns = []
    for probe, column in form.columns.items():
        series = _living(probe, known, cellar)
        targets[series.id] = _target(series, form.unit, cellar, store)
        columns.append((column, series.id))
    try:
        return wide_layout(first, form.at or "", columns), targets
    except IngestError as error:
        raise typer.BadParameter(str(error), param_hint="--at, --value, --map") from error


def _living(probe: str, known: Sequence[Series], cellar: Cellar) -> Series:
    """The series that the probe goes on with."""
    declared = {item.id: item for item in cellar.probe}
    if probe not in declared:
        raise typer.BadParameter(f"no probe '{probe}'; there are: {', '.join(sorted(declared))}", param_hint="--probe")
    item = declared[probe]
    for row in known:
        if (row.probe, row.place, row.quantity) == (probe, item.at, item.quantity):
            return row
    raise IngestError(f"the store does not know the probe {probe} yet; start `leeside run` once with this cellar file")


def _target(series: Series, unit: str | None, cellar: Cellar, store: Store) -> _Target:
    dated = scales(store, series.id)
    low, high = plausible_range(series.quantity, _kind_of(series.place, cellar))
    if unit is None:
        return _Target(series, dated, None, 0.0, low, high)
    row = QUANTITIES[series.quantity]
    try:
        reference = find_unit(row.dimension, unit).reference
        gain, offset = series_unit_conversion(series.quantity, unit)
    except UnitError as error:
        raise typer.BadParameter(str(error), param_hint="--unit") from error
    if reference is not None and reference != row.pressure:
        raise typer.BadParameter(
            f'"{unit}" is {reference}, and {series.quantity} is kept as {row.pressure} pressure; without --unit the'
            " numbers are taken as the probe itself would send them",
            param_hint="--unit",
        )
    return _Target(series, dated, gain, offset, low, high)


def _kind_of(place: str, cellar: Cellar) -> str:
    """The kind of a place; one that the cellar file no longer has counts as a room, which has no range of its own."""
    standing = {item.id for item in cellar.room} | {item.id for item in cellar.vessel}
    standing |= {item.id for item in cellar.cylinder}
    return cellar.place_kind(place) if place in standing else "room"


def _zone_of(name: str | None, cellar: Cellar) -> ZoneInfo:
    if name is None:
        return cellar.site.zone
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise typer.BadParameter(
            f"there is no time zone '{name}'; write such as UTC or Europe/Ljubljana", param_hint="--zone"
        ) from error


def _earliest_ms(cellar: Cellar, store: Store, now_ms: int) -> int:
    """Before it readings are dropped, or were while the cellar file said so; what came back would have no summary."""
    dropped_ms = (cursor(store, DROPPED) or 0) * DAY_MS
    keep_s = cellar.store.keep_raw_s
    return max(EARLIEST_MS, dropped_ms, 0 if keep_s is None else now_ms - round(keep_s * 1000))


# ---- on the way in -------------------------------------------------------------------------------------------------


def _pieces(taking: Rows, targets: dict[int, _Target]) -> Iterator[Piece]:
    for number, column in taking.take_out().items():
        yield Piece(number, _arrays(column, targets[number]))


def _arrays(column: Column, target: _Target) -> Arrays:
    at_ms = np.array(column.at_ms, np.int64)
    cells = np.array(column.value, np.float64)
    classes = np.array(column.quality, np.uint8)
    if target.gain is None:
        numbers = cells
        values = scaled(Arrays(at_ms, cells, classes.astype(np.uint16)), target.dated).number
    else:
        values = target.gain * cells + target.offset
        numbers = numbers_behind(at_ms, values, target.dated)
    return Arrays(at_ms, numbers, imported_quality(classes, values, target.low, target.high))


# ---- what came of it -----------------------------------------------------------------------------------------------


def _print(table: Path, taking: Rows, found: dict[Series, Brought], zone: ZoneInfo, *, written: bool) -> None:
    print(f"{table}: {taking.rows:,} rows")
    for series, brought in found.items():
        span = ""
        if brought.from_ms is not None and brought.to_ms is not None:
            span = f", {long_time(brought.from_ms, zone)} to {long_time(brought.to_ms, zone)}"
        there = f"; {brought.repeats:,} are there already" if brought.repeats else ""
        print(f"  {series.probe} at {series.place}: {brought.new:,} new{span}{there}")
    if taking.refused:
        print("Not taken:")
    for reason, refused in sorted(taking.refused.items(), key=lambda item: -item[1].times):
        print(f"  {refused.times:,} {reason}")
        for line, detail in refused.examples:
            print(f"    line {line}" + (f": {detail}" if detail else ""))
    new = sum(brought.new for brought in found.values())
    if not found:
        print("It holds no readings; nothing was written.")
    elif not new:
        print("Nothing is new; nothing was written.")
    elif written:
        print(f"{new:,} readings were brought in. No limit judges them.")
    else:
        print("Nothing was written yet; the same with --write brings them in.")


def _print_json(table: Path, taking: Rows, found: dict[Series, Brought], *, written: bool) -> None:
    out = {
        "file": str(table),
        "written": written,
        "rows": taking.rows,
        "series": [
            {
                "probe": series.probe,
                "place": series.place,
                "quantity": series.quantity,
                "new": brought.new,
                "there_already": brought.repeats,
                "from": None if brought.from_ms is None else iso_utc(brought.from_ms),
                "to": None if brought.to_ms is None else iso_utc(brought.to_ms),
            }
            for series, brought in found.items()
        ],
        "not_taken": [
            {
                "reason": reason,
                "times": refused.times,
                "examples": [{"line": line, "found": detail} for line, detail in refused.examples],
            }
            for reason, refused in taking.refused.items()
        ],
    }
    json.dump(out, sys.stdout, indent=1, ensure_ascii=False)
    print()
