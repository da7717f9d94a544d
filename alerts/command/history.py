"""`leeside history`: a probe's readings, oldest first."""

from __future__ import annotations

__all__ = ["history"]

import json
from collections.abc import Iterator
from itertools import chain
from typing import Annotated, Final

import typer

from alerts.command.history_of import HistoryRequest, run_history_of
from alerts.command.opened_cellar import open_cellar, wall_ms
from alerts.command.options import File, Json, Since, Until, refuse_given, time_range
from alerts.view.format import local_time, value_text
from ingest.cellar import QUANTITIES, Cellar
from ingest.reading import quality_class
from ingest.store import Store
from ingest.store.readings.series import Series, all_series
from ingest.store.readings.series_history import HistoryRow, raw
from ingest.times import iso_utc

EXAMPLE: Final = "leeside history cellar.toml --lot malvasia-2026 --quantity free_so2 --csv"


def history(
    file: File,
    probe: Annotated[
        str | None, typer.Argument(metavar="PROBE", help="A probe's id; or name a lot or a place.")
    ] = None,
    lot: Annotated[
        str | None, typer.Option("--lot", help="A lot, through the vessels where it lay; with --quantity.")
    ] = None,
    place: Annotated[str | None, typer.Option("--place", help="A vessel, cylinder or room; with --quantity.")] = None,
    quantity: Annotated[
        str | None, typer.Option("--quantity", help="What was read or found, such as temperature or free_so2.")
    ] = None,
    share: Annotated[
        float | None,
        typer.Option("--share", help="Only where the lot is at least this part of the wine, such as 0.5."),
    ] = None,
    struck: Annotated[bool, typer.Option("--struck", help="Also results of struck entries.")] = False,
    csv: Annotated[bool, typer.Option("--csv", help="Print a table with a row for each reading or result.")] = False,
    as_json: Json = False,
    since: Since = None,
    until: Until = None,
) -> int:
    """Print the readings of a probe, or readings and results of a lot wherever it lay, or at a place. Oldest first.

    Exit code 1 if there are none.
    """
    if csv and as_json:
        raise typer.BadParameter("choose one of --csv and --json")
    if probe is None:
        if lot is None and place is None:
            raise typer.BadParameter("name a probe, or --lot or --place with --quantity")
        request = HistoryRequest(lot, place, quantity, share, since, until, struck)
        return run_history_of(file, request, as_csv=csv, as_json=as_json)
    given = {"--lot": lot, "--place": place, "--quantity": quantity, "--share": share, "--struck": struck}
    refuse_given(given, "cannot be combined with a PROBE")
    with open_cellar(file) as (cellar, store):
        series = _series_of(cellar, store, probe)
        from_ms, to_ms = time_range(since, until, cellar.site.zone)
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
        value = value_text(quantity, row.value, cellar.site.units)
        print(
            f"{local_time(row.at_ms, cellar.site.zone, now_ms)}  {value}{'' if quality == 'good' else '  ' + quality}"
        )
    if not count:
        print("No readings in that time.")
    return count
