"""`leeside review`: what to know before the wine of a vessel is racked or bottled. Writes nothing."""

from __future__ import annotations

__all__ = ["EXAMPLE", "review"]

import difflib
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Final

import typer

from alerts.command.gas_options import as_gas_option, optional_finite
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json
from alerts.command.sheet_files import write_sheet
from alerts.command.terminal import print_plain
from alerts.errors import OutOfRange
from alerts.review import (
    BottlingWish,
    RackingWish,
    ReviewAsked,
    ReviewVerdict,
    free_so2_band,
    review_charts,
    review_json,
    review_lines,
    review_sheet,
    review_title,
    whole_review,
)
from ingest.cellar import Cellar
from ingest.json_text import json_text
from ingest.process import wall_ms

_WORKS: Final = ("racking", "bottling")
EXAMPLE: Final = "leeside review cellar.toml C1 --to K2 --bore-mm 8 --length-m 2"

_OPTIONS: Final = {
    "bottle": "--bottle-l",
    "bottling oxygen": "--o2-mg-l",
    "blanket": "--blanket-kpa",
    "height": "--lift-m",
    "pressure": "--pressure-kpa",
    "push pressure": "--pressure-kpa",
    "receiver": "--to",
    "vessel": "VESSEL",
}


def review(
    file: File,
    vessel: Annotated[str, typer.Argument(metavar="VESSEL", help="The vessel that the wine lies in.")],
    to: Annotated[
        str | None,
        typer.Option("--to", metavar="VESSEL", help="The receiving vessel; without it the empty ones are listed."),
    ] = None,
    volume: Annotated[
        str | None, typer.Option("--volume-l", metavar="L", help="How much is moved; by default all of it.")
    ] = None,
    pressure: Annotated[
        str | None,
        typer.Option("--pressure-kpa", metavar="KPA", help="Gauge pressure to push with; by default 20 and 35 kPa."),
    ] = None,
    lift: Annotated[
        str | None,
        typer.Option("--lift-m", metavar="M", help="How far a push lifts the wine; negative where it flows down."),
    ] = None,
    head_start: Annotated[
        str | None,
        typer.Option("--head-start-m", metavar="M", help="Between the two levels of a siphon at the start, m."),
    ] = None,
    head_end: Annotated[
        str | None, typer.Option("--head-end-m", metavar="M", help="Between the two levels at the end, m; above 0.")
    ] = None,
    bore: Annotated[
        str | None, typer.Option("--bore-mm", metavar="MM", help="Inner diameter of the tube, 1 to 100 mm.")
    ] = None,
    length: Annotated[
        str | None, typer.Option("--length-m", metavar="M", help="Length of the tube, 0.05 to 200 m.")
    ] = None,
    target: Annotated[
        str, typer.Option("--target-o2-percent", metavar="PERCENT", help="Oxygen to purge the receiving vessel to.")
    ] = "0.5",
    blanket: Annotated[
        str | None,
        typer.Option("--blanket-kpa", metavar="KPA", help="Gauge pressure of the blanket afterwards; usually 55 kPa."),
    ] = None,
    purpose: Annotated[str, typer.Option("--for", metavar="WORK", help="racking or bottling.")] = "racking",
    bottle: Annotated[
        list[str] | None,
        typer.Option("--bottle-l", metavar="L", help="Size of the bottles, 0.75 by default; once for each."),
    ] = None,
    oxygen: Annotated[
        str | None,
        typer.Option("--o2-mg-l", metavar="MG_L", help="Oxygen that bottling brings; by default about 4 mg/L."),
    ] = None,
    pdf: Annotated[
        Path | None,
        typer.Option("--pdf", metavar="FILE", help="Write it as a sheet of two A4 pages with pictures, to print."),
    ] = None,
    png: Annotated[
        Path | None,
        typer.Option("--png", metavar="FILE", help="The same as pictures, one a page: sheet-1.png, sheet-2.png."),
    ] = None,
    as_json: Json = False,
) -> int:
    """Show what to know before the wine of a vessel is racked or bottled.

    How it rested and cleared, how sound its blanket was, its SO2 and the dose, whether it fits, purging, moving, gas,
    the rooms' air, open alarms, and the work in order. Each point has a plain verdict with its reason. Exit code 1
    where one of them is "do not".
    """
    if purpose not in _WORKS:
        raise typer.BadParameter(f"'{purpose}' is not known; allowed: {' and '.join(_WORKS)}", param_hint="--for")
    _check_for(purpose, to=to, blanket=blanket, bottle=bottle, oxygen=oxygen)
    bottling = BottlingWish(
        bottle_l=tuple(optional_finite(size, "--bottle-l") or 0.0 for size in bottle or ("0.75",)),
        o2_mg_l=optional_finite(oxygen, "--o2-mg-l"),
    )
    wish = RackingWish(
        volume_l=optional_finite(volume, "--volume-l"),
        pressure_kpa=optional_finite(pressure, "--pressure-kpa"),
        lift_m=optional_finite(lift, "--lift-m"),
        head_start_m=optional_finite(head_start, "--head-start-m"),
        head_end_m=optional_finite(head_end, "--head-end-m"),
        bore_mm=optional_finite(bore, "--bore-mm"),
        length_m=optional_finite(length, "--length-m"),
        target_o2_percent=optional_finite(target, "--target-o2-percent") or 0.0,
        blanket_kpa=optional_finite(blanket, "--blanket-kpa"),
    )
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store), store.read():
        ids = [each.id for each in cellar.vessel]
        _check_vessel(cellar, ids, vessel, "VESSEL")
        if to is not None:
            _check_vessel(cellar, ids, to, "--to")
        asked = ReviewAsked(
            vessel=vessel,
            purpose="bottling" if purpose == "bottling" else "racking",
            to=to,
            racking=wish,
            bottling=bottling,
        )
        try:
            found, wine = whole_review(cellar, store, asked, str(file), now_ms)
        except OutOfRange as error:
            raise as_gas_option(error, _OPTIONS) from error
        band = free_so2_band(cellar, store, wine) if pdf is not None or png is not None else []
    sheet = review_sheet(found, review_charts(wine, band), cellar.site.name, cellar.site.zone)
    written = write_sheet(sheet, pdf, png)
    if as_json:
        print(json_text(review_json(found), indent=2))
    elif written:
        print_plain(f"{review_title(found)}: {found.verdict}")
        for path in written:
            print_plain(f"written: {path}")
    else:
        for line in review_lines(found, cellar.site.zone):
            print_plain(line)
    return 1 if found.verdict is ReviewVerdict.DO_NOT else 0


def _check_for(
    purpose: str, *, to: str | None, blanket: str | None, bottle: list[str] | None, oxygen: str | None
) -> None:
    """Refuse what belongs to the other work."""
    stray = (
        [("--to", to), ("--blanket-kpa", blanket)]
        if purpose == "bottling"
        else [("--bottle-l", bottle), ("--o2-mg-l", oxygen)]
    )
    for option, value in stray:
        if value is not None:
            other = "racking" if purpose == "bottling" else "bottling"
            raise typer.BadParameter(f"it belongs to --for {other}; leave it out", param_hint=option)


def _check_vessel(cellar: Cellar, ids: Sequence[str], id: str, parameter: str) -> None:
    """Refuse a name that is not a vessel of the cellar file, and name the nearest one."""
    if id in ids:
        return
    try:
        other = f"{id} is a {cellar.place_kind(id)}. "
    except KeyError:
        near = difflib.get_close_matches(id.casefold(), [each.casefold() for each in ids], n=3, cutoff=0.5)
        meant = [each for each in ids if each.casefold() == id.casefold()]
        meant = meant or [each for each in ids if each.casefold() in near]
        other = f"did you mean {' or '.join(meant)}? " if meant else ""
    there = f"There are: {', '.join(ids)}" if ids else "The cellar file has none"
    raise typer.BadParameter(f"no vessel '{id}': {other}{there}", param_hint=parameter)
