"""`leeside import` of readings: first show what the table holds and what not, then, with --write, bring it in."""

from __future__ import annotations

__all__ = ["import_readings"]

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from alerts.command.exchange.import_targets import TableForm, Target, layout_and_targets
from alerts.command.exchange.table_text import open_table, table_rows
from alerts.command.opened_cellar import open_cellar
from alerts.view.format import long_time
from ingest.cellar import Cellar
from ingest.exchange.moments import Moments
from ingest.exchange.rows import Rows
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store import Store
from ingest.store.change_feed import DROPPED, cursor
from ingest.store.readings.bulk_import import BulkImport, ImportedReadings, Piece
from ingest.store.readings.series import Series
from ingest.store.readings.settling import DAY_MS
from ingest.times import EARLIEST_MS, iso_utc_known

# Readings that are held in memory before they are brought in: some 20 MB.
_MOST_HELD: Final = 500_000
# The progress bar moves after so many rows.
_BAR_STEP: Final = 20_000


def import_readings(file: Path, table: Path, form: TableForm, *, write: bool, as_json: bool) -> int:
    """Show what the table holds, and with ``write`` bring it in. Exit code 1 if it holds no readings."""
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store):
        zone = form.zone or cellar.site.zone
        with open_table(table) as (text, bytes_read):
            lines = table_rows(table, text, form.delimiter)
            first_line, first_row = next(lines, (0, []))
            layout, targets = layout_and_targets(first_row, form, cellar, store)
            largest = {id: target.largest_cell for id, target in targets.items()}
            moments = Moments(zone, now_ms, _earliest_ms(cellar, store, now_ms), order=form.dates)
            rows = Rows(layout, moments, form.decimal, largest)
            if not layout.headed:
                rows.take(first_line, first_row)
            bulk_import = BulkImport(store, list(targets), rehearse=not write)
            with _progress_bar(table, "writing" if write else "looking", hidden=as_json) as advance:
                for line, row in lines:
                    rows.take(line, row)
                    if rows.held >= _MOST_HELD:
                        bulk_import.take(_pieces(rows, targets))
                    if line % _BAR_STEP == 0:
                        advance(bytes_read())
                bulk_import.take(_pieces(rows, targets))
                advance(bytes_read())
        results = {targets[id].series: result for id, result in bulk_import.imported.items() if result.offered}
        if as_json:
            _print_json(table, rows, results, written=write)
        else:
            _print(table, rows, results, zone, written=write)
    return 0 if results else 1


def _earliest_ms(cellar: Cellar, store: Store, now_ms: int) -> int:
    """The time before which readings are dropped, or were dropped once: what came back would have no summary."""
    dropped_ms = (cursor(store, DROPPED) or 0) * DAY_MS
    keep_s = cellar.store.keep_raw_s
    return max(EARLIEST_MS, dropped_ms, 0 if keep_s is None else now_ms - round(keep_s * 1000))


def _pieces(rows: Rows, targets: dict[int, Target]) -> Iterator[Piece]:
    for series, column in rows.take_out().items():
        yield Piece(series, targets[series].readings(column))


@contextmanager
def _progress_bar(table: Path, word: str, *, hidden: bool) -> Iterator[Callable[[int], None]]:
    """Show a bar on the terminal that follows the bytes read."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    if hidden or not console.is_terminal:
        yield lambda place: None
        return
    with Progress(console=console, transient=True) as progress:
        task = progress.add_task(word, total=table.stat().st_size)
        yield lambda place: progress.update(task, completed=place)


def _print(table: Path, rows: Rows, results: dict[Series, ImportedReadings], zone: ZoneInfo, *, written: bool) -> None:
    print(f"{table}: {rows.rows:,} rows")
    for series, result in results.items():
        span = ""
        if result.from_ms is not None and result.to_ms is not None:
            span = f", {long_time(result.from_ms, zone)} to {long_time(result.to_ms, zone)}"
        there = f"; {result.repeats:,} are there already" if result.repeats else ""
        print(f"  {series.probe} at {series.place}: {result.new:,} new{span}{there}")
    if rows.refused:
        print("Not taken:")
    for reason, refused in sorted(rows.refused.items(), key=lambda item: -item[1].times):
        print(f"  {refused.times:,} {reason}")
        for line, detail in refused.examples:
            print(f"    line {line}" + (f": {detail}" if detail else ""))
    new = sum(result.new for result in results.values())
    if not results:
        print("It holds no readings; nothing was written.")
    elif not new:
        print("Nothing is new; nothing was written.")
    elif written:
        print(f"{new:,} readings were brought in. No limit judges them.")
    else:
        print("Nothing was written yet; the same with --write brings them in.")


def _print_json(table: Path, rows: Rows, results: dict[Series, ImportedReadings], *, written: bool) -> None:
    out = {
        "file": str(table),
        "written": written,
        "rows": rows.rows,
        "series": [
            {
                "probe": series.probe,
                "place": series.place,
                "quantity": series.quantity,
                "new": result.new,
                "there_already": result.repeats,
                "from": iso_utc_known(result.from_ms),
                "to": iso_utc_known(result.to_ms),
            }
            for series, result in results.items()
        ],
        "not_taken": [
            {
                "reason": reason,
                "times": refused.times,
                "examples": [{"line": line, "found": detail} for line, detail in refused.examples],
            }
            for reason, refused in rows.refused.items()
        ],
    }
    print(json_text(out, indent=1))
