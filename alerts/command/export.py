"""`leeside export`: readings in a form that other programs take, oldest first, a probe after the other."""

from __future__ import annotations

__all__ = ["export"]

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Final, TextIO

import typer

from alerts.command.exchange.export_entries import write_entries
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import (
    EntriesOfKind,
    EntriesOfLot,
    EntriesOfVessel,
    File,
    Since,
    Until,
    check_kinds,
    refuse_given,
    time_range,
)  # fmt: skip
from ingest.cellar import QUANTITIES
from ingest.errors import IngestError
from ingest.exchange.csv_form import HEAD, csv_rows
from ingest.exchange.senml_form import senml_packs
from ingest.process import wall_ms
from ingest.store import Store
from ingest.store.readings.series import Series, all_series
from ingest.store.readings.series_history import raw

EXAMPLE: Final = "leeside export cellar.toml k1-pressure --csv --from 2026-11-01 --output november.csv"


def export(
    file: File,
    probes: Annotated[
        list[str] | None, typer.Argument(metavar="[PROBE]...", help="Only readings of these probes; by default of all.")
    ] = None,
    csv: Annotated[
        bool, typer.Option("--csv", help="As at,probe,place,quantity,value,unit,quality; this is the default.")
    ] = False,
    senml: Annotated[bool, typer.Option("--senml", help="As SenML packs in JSON, one a line.")] = False,
    entries: Annotated[
        bool,
        typer.Option("--entries", help="The journal instead: an entry a line as JSON; with --csv as a table."),
    ] = False,
    vessel: EntriesOfVessel = None,
    lot: EntriesOfLot = None,
    kinds: EntriesOfKind = None,
    without_struck: Annotated[
        bool, typer.Option("--without-struck", help="Leave out entries that were struck.")
    ] = False,
    since: Since = None,
    until: Until = None,
    output: Annotated[
        Path | None, typer.Option("--output", metavar="PATH", help="Into this file instead of standard output.")
    ] = None,
) -> int:
    """Write readings, or entries of the journal, in a form that other programs take. Exit code 1 if there are none."""
    if entries:
        refuse_given({"PROBE": probes}, "an entry is of no probe; leave it out with --entries")
        refuse_given({"--senml": senml}, "SenML is for readings; leave it out with --entries")
        check_kinds(kinds)
    else:
        about_entries = {"--vessel": vessel, "--lot": lot, "--kind": kinds, "--without-struck": without_struck}
        refuse_given(about_entries, "is about entries of the journal; add --entries")
        if csv and senml:
            raise typer.BadParameter("choose one of --csv and --senml")
    with open_cellar(file) as (cellar, store):
        chosen = _series_of(store, probes or ())
        from_ms, to_ms = time_range(since, until, cellar.site.zone, wall_ms())
        with _opened(output) as out:
            if entries:
                written = write_entries(
                    out,
                    store,
                    vessel=vessel,
                    lot=lot,
                    kinds=kinds or (),
                    from_ms=from_ms,
                    to_ms=to_ms,
                    with_struck=not without_struck,
                    as_table=csv,
                )
            else:
                written = _write_readings(out, store, chosen, from_ms, to_ms, senml=senml)
    return 0 if written else 1


def _write_readings(
    out: TextIO, store: Store, chosen: Sequence[Series], from_ms: int, to_ms: int, *, senml: bool
) -> int:
    """Write the readings of these series, and return how many pieces of text that were."""
    written = 0
    if not senml:
        out.write(HEAD)
    for series in chosen:
        rows = raw(store, series.id, from_ms, to_ms)
        pieces = (
            senml_packs(series.probe, series.quantity, rows)
            if senml
            else csv_rows((series.probe, series.place, series.quantity), QUANTITIES[series.quantity].unit, rows)
        )
        for piece in pieces:
            out.write(piece)
            written += 1
    return written


def _series_of(store: Store, probes: Sequence[str]) -> list[Series]:
    """The series of these probes, or all; a probe that stood elsewhere before has several."""
    known = all_series(store)
    names = {row.probe for row in known}
    for probe in probes:
        if probe not in names:
            raise typer.BadParameter(f"no probe '{probe}'; there are: {', '.join(sorted(names))}", param_hint="PROBE")
    return [row for row in known if not probes or row.probe in probes]


@contextmanager
def _opened(output: Path | None) -> Iterator[TextIO]:
    """Standard output, or a file that is there whole or not at all."""
    if output is None:
        yield sys.stdout
        return
    part = output.with_name(output.name + ".part")
    try:
        with part.open("w", encoding="utf-8", newline="") as stream:
            yield stream
        part.replace(output)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise IngestError(f"{output}: cannot be written: {error.strerror}") from error
    except BaseException:
        part.unlink(missing_ok=True)
        raise
