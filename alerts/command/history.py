"""`leeside history`: a probe's readings, oldest first."""

from __future__ import annotations

__all__ = ["run_history"]

import json
from collections.abc import Iterator
from itertools import chain
from pathlib import Path

import typer

from alerts.command.opened_cellar import open_cellar, wall_ms
from alerts.view.format import local_time, value_shown
from ingest.cellar import Cellar
from ingest.cellar.quantities import QUANTITIES
from ingest.errors import IngestError
from ingest.reading import quality_class
from ingest.store import Store
from ingest.store.readings.series import Series, all_series
from ingest.store.readings.series_history import HistoryRow, raw
from ingest.times import END_OF_TIME_MS, iso_utc, moment_of


def run_history(file: Path, probe: str, *, csv: bool, as_json: bool, since: str | None, until: str | None) -> int:
    """Print readings; exit code 1 when there are none, 2 for an unknown probe or time."""
    if csv and as_json:
        raise typer.BadParameter("choose one of --csv and --json")
    with open_cellar(file) as (cellar, store):
        series = _series_of(cellar, store, probe)
        try:
            from_ms = 0 if since is None else moment_of(since, cellar.site.zone)
            to_ms = END_OF_TIME_MS if until is None else moment_of(until, cellar.site.zone)
        except IngestError as error:
            raise typer.BadParameter(str(error), param_hint="--from, --to") from error
        if from_ms >= to_ms:
            raise typer.BadParameter(f"--from {since} is not before --to {until}")
        rows = chain.from_iterable(raw(store, row.id, from_ms, to_ms) for row in series)
        unit = QUANTITIES[series[0].quantity].unit
        if csv:
            count = _print_csv(rows, unit)
        elif as_json:
            count = _print_json(rows, unit, probe)
        else:
            count = _print_plain(rows, series[0].quantity, cellar)
    return 0 if count else 1


def _series_of(cellar: Cellar, store: Store, probe: str) -> list[Series]:
    """The probe's series in the order in which they began, living or ended. A probe may have stood elsewhere before."""
    found = [row for row in all_series(store) if row.probe == probe]
    if not found:
        known = sorted({row.probe for row in all_series(store)} | {item.id for item in cellar.probe})
        raise typer.BadParameter(f"no probe '{probe}'; there are: {', '.join(known)}", param_hint="PROBE")
    wanted = found[-1].quantity
    return [row for row in found if row.quantity == wanted]


def _print_csv(rows: Iterator[HistoryRow], unit: str) -> int:
    print("at,value,unit,quality")
    count = 0
    for count, row in enumerate(rows, 1):  # noqa: B007  the count is what is wanted after the loop
        print(f"{iso_utc(row.at_ms)},{row.value:.10g},{unit},{quality_class(row.quality).name.lower()}")
    return count


def _print_json(rows: Iterator[HistoryRow], unit: str, probe: str) -> int:
    readings = [
        {"at": iso_utc(row.at_ms), "value": row.value, "quality": quality_class(row.quality).name.lower()}
        for row in rows
    ]
    print(json.dumps({"probe": probe, "unit": unit, "readings": readings}, indent=1))
    return len(readings)


def _print_plain(rows: Iterator[HistoryRow], quantity: str, cellar: Cellar) -> int:
    now_ms = wall_ms()
    count = 0
    for count, row in enumerate(rows, 1):  # noqa: B007  the count is what is wanted after the loop
        quality = quality_class(row.quality).name.lower()
        value = value_shown(quantity, row.value, cellar.site.units)
        print(
            f"{local_time(row.at_ms, cellar.site.zone, now_ms)}  {value}{'' if quality == 'good' else '  ' + quality}"
        )
    if not count:
        print("No readings in that time.")
    return count
