"""`leeside export`: readings in a form that other programs take, oldest first, a probe after the other."""

from __future__ import annotations

__all__ = ["opened", "run_export", "span"]

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import typer

from alerts.command.opened_cellar import open_cellar
from ingest.cellar import Cellar
from ingest.cellar.quantities import QUANTITIES
from ingest.errors import IngestError
from ingest.exchange.csv_form import HEAD, csv_rows
from ingest.exchange.senml_form import senml_packs
from ingest.store import Store
from ingest.store.readings.series import Series, all_series
from ingest.store.readings.series_history import raw
from ingest.times import END_OF_TIME_MS, moment_of


def run_export(
    file: Path,
    probes: Sequence[str],
    *,
    csv: bool,
    senml: bool,
    since: str | None,
    until: str | None,
    output: Path | None,
) -> int:
    """Write readings; exit code 1 when there are none, 2 for a wrong call."""
    if csv and senml:
        raise typer.BadParameter("choose one of --csv and --senml")
    with open_cellar(file) as (cellar, store):
        chosen = _series_of(store, probes)
        from_ms, to_ms = span(cellar, since, until)
        with opened(output) as out:
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
    return 0 if written else 1


def _series_of(store: Store, probes: Sequence[str]) -> list[Series]:
    """The series of these probes, or all; a probe that stood elsewhere before has several."""
    known = all_series(store)
    names = {row.probe for row in known}
    for probe in probes:
        if probe not in names:
            raise typer.BadParameter(f"no probe '{probe}'; there are: {', '.join(sorted(names))}", param_hint="PROBE")
    return [row for row in known if not probes or row.probe in probes]


def span(cellar: Cellar, since: str | None, until: str | None) -> tuple[int, int]:
    """--from and --to as UTC ms, all time by default. Raises typer.BadParameter."""
    try:
        from_ms = 0 if since is None else moment_of(since, cellar.site.zone)
        to_ms = END_OF_TIME_MS if until is None else moment_of(until, cellar.site.zone)
    except IngestError as error:
        raise typer.BadParameter(str(error), param_hint="--from, --to") from error
    if from_ms >= to_ms:
        raise typer.BadParameter(f"--from {since} is not before --to {until}")
    return from_ms, to_ms


@contextmanager
def opened(output: Path | None) -> Iterator[IO[str]]:
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
