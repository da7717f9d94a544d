"""`leeside enter`: what people write down. So far a probe's calibration."""

from __future__ import annotations

__all__ = ["app"]

import getpass
import json as json_form
from pathlib import Path
from typing import Annotated

import typer

from alerts.command.opening import open_cellar, wall_ms
from alerts.page.shown import local_time, value_shown
from ingest.cellar import Cellar, Probe
from ingest.cellar.amounts import parse_amount
from ingest.cellar.quantities import QUANTITIES
from ingest.errors import IngestError
from ingest.probes.calibration import Correction, Point, correction
from ingest.store import Store
from ingest.store.history import newest
from ingest.store.scale import Part, add_part, compose, parts, value_at
from ingest.store.series import all_series
from ingest.times import iso_utc, moment_of

app = typer.Typer(
    help="Write down what was done at the bench or in the cellar.", no_args_is_help=True, rich_markup_mode=None
)


@app.callback()
def enter() -> None:
    """Write down what was done at the bench or in the cellar."""


@app.command(
    epilog="Example: leeside enter calibration cellar.toml k1-pressure --truth '0 kPa' --reads '1.2 kPa'"
)
def calibration(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The cellar file.")],
    probe: Annotated[str, typer.Argument(metavar="PROBE", help="The probe's id.")],
    truth: Annotated[
        list[str], typer.Option("--truth", help="What was true, such as '0 kPa'; twice for zero and span.")
    ],
    reads: Annotated[
        list[str] | None,
        typer.Option("--reads", help="What leeside showed at that point; without it the newest reading counts."),
    ] = None,
    since: Annotated[
        str | None, typer.Option("--from", metavar="TIME", help="From when on it holds: a date, or date and time; now.")
    ] = None,
    who: Annotated[str | None, typer.Option("--who", help="Who did it; by default the user's name.")] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Zero and span of a probe, from a time on. Readings stay as they are; their values are turned anew."""
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store):
        declared = _probe_of(cellar, probe)
        series = _series_of(store, declared)
        from_ms = _from(since, cellar, now_ms)
        points = _points(store, series, declared, truth, reads or [], from_ms)
        row = QUANTITIES[declared.quantity]
        made = correction(points, row.resolution, row.unit)
        because = f"calibration by {who or _user()}: " + ", ".join(
            f"{point.measured:.4g} -> {point.truth:.4g} {row.unit}" for point in points
        )
        with store.write() as connection:
            add_part(connection, series, Part(from_ms, "calibration", *made, row.unit, because), now_ms)
    _tell(cellar, declared, made, points, from_ms, now_ms, as_json=json)


def _probe_of(cellar: Cellar, probe: str) -> Probe:
    for declared in cellar.probe:
        if declared.id == probe:
            return declared
    known = ", ".join(each.id for each in cellar.probe)
    raise typer.BadParameter(f"no probe '{probe}' in the cellar file; there are: {known}", param_hint="PROBE")


def _series_of(store: Store, declared: Probe) -> int:
    for row in all_series(store):
        if (row.probe, row.place, row.quantity) == (declared.id, declared.at, declared.quantity):
            return row.id
    raise IngestError(f"{declared.id} has never been read on this store; start `leeside run` first")


def _from(since: str | None, cellar: Cellar, now_ms: int) -> int:
    if since is None:
        return now_ms
    try:
        from_ms = moment_of(since, cellar.site.zone)
    except IngestError as error:
        raise typer.BadParameter(str(error), param_hint="--from") from error
    if from_ms > now_ms:
        raise typer.BadParameter(
            f"{since} is in the future; a calibration holds from now or from earlier", param_hint="--from"
        )
    return from_ms


def _points(
    store: Store, series: int, declared: Probe, truth: list[str], reads: list[str], from_ms: int
) -> list[Point]:
    """The points without calibration: what was shown went through the one that held at that time."""
    if reads and len(reads) != len(truth):
        raise typer.BadParameter(
            f"{len(truth)} --truth and {len(reads)} --reads; give one for each", param_hint="--reads"
        )
    if not reads and len(truth) > 1:
        raise typer.BadParameter("two points need two --reads as well", param_hint="--reads")
    ordered = parts(store, series)
    whole = compose(ordered)
    plain = compose(part for part in ordered if part.kind != "calibration")
    if not reads:
        last = newest(store, series, 1)
        if not last:
            raise IngestError(f"{declared.id} has no reading yet; say what it reads with --reads")
        shown, at_ms = [last[0].value], last[0].at_ms
    else:
        shown, at_ms = [_amount(text, declared, "--reads") for text in reads], from_ms
    made = []
    for value, text in zip(shown, truth, strict=True):
        gain = value_at(whole, at_ms, 1.0) - value_at(whole, at_ms, 0.0)
        number = (value - value_at(whole, at_ms, 0.0)) / gain
        made.append(Point(value_at(plain, at_ms, number), _amount(text, declared, "--truth")))
    return made


def _amount(text: str, declared: Probe, option: str) -> float:
    row = QUANTITIES[declared.quantity]
    try:
        return parse_amount(
            text, dimension=row.dimension, unit=row.unit, example=row.example, pressure=row.pressure
        ).number
    except ValueError as error:
        raise typer.BadParameter(f"'{text}': {error}", param_hint=option) from error


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a system user without a name
        return "somebody"


def _tell(
    cellar: Cellar,
    declared: Probe,
    made: Correction,
    points: list[Point],
    from_ms: int,
    now_ms: int,
    *,
    as_json: bool,
) -> None:
    if as_json:
        print(
            json_form.dumps(
                {
                    "probe": declared.id,
                    "from": iso_utc(from_ms),
                    "gain": made.gain,
                    "offset": made.offset,
                    "unit": QUANTITIES[declared.quantity].unit,
                }
            )
        )
        return
    units = cellar.site.units
    for point in points:
        print(
            f"{declared.id}: {value_shown(declared.quantity, point.measured, units)} now counts as "
            f"{value_shown(declared.quantity, made.gain * point.measured + made.offset, units)}"
        )
    print(f"It holds from {local_time(from_ms, cellar.site.zone, now_ms)} on.")
