"""`leeside history --estimate`: what is estimated of a vessel's SO2 over time, as a band, beside the titrations."""

from __future__ import annotations

__all__ = ["print_estimate"]

import csv
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import typer

from alerts.command.opened_cellar import open_cellar
from alerts.command.options import time_range
from alerts.so2.band import BAND_QUANTITIES, BandPoint, BandQuantity, so2_band
from alerts.view.format import local_time, quantity_name
from alerts.view.places.vessel_card import known_vessels
from alerts.wine.molecular import Pk, simple_pk
from ingest.cellar import Cellar
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.times import iso_utc

_COLUMNS: Final = ("at", "median", "low_80", "high_80")


def print_estimate(
    file: Path,
    vessel: str | None,
    quantity: str | None,
    since: str | None,
    until: str | None,
    *,
    as_csv: bool,
    as_json: bool,
) -> int:
    """Print the band of free_so2 (the default) or molecular_so2 up to now. Exit code 1 if there is none."""
    if vessel is None:
        raise typer.BadParameter("name a vessel: the estimate is of its wine", param_hint="VESSEL")
    chosen = next((known for known in BAND_QUANTITIES if known == (quantity or "free_so2")), None)
    if chosen is None:
        allowed = " and ".join(BAND_QUANTITIES)
        raise typer.BadParameter(f"'{quantity}' is not estimated; {allowed} are", param_hint="--quantity")
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store), store.read():
        from_ms, to_ms = time_range(since, until, cellar.site.zone, wall_ms())
        known_ids = known_vessels(cellar, store)
        if vessel not in known_ids:
            raise typer.BadParameter(f"no vessel '{vessel}'; there are: {', '.join(known_ids)}", param_hint="VESSEL")
        first = store.connection.execute("SELECT min(at_ms) FROM entry").fetchone()[0]
        begin_ms, end_ms = max(from_ms, first or 0), min(to_ms - 1, now_ms)
        pk = simple_pk(cellar.site.so2_pk)
        points = so2_band(cellar, store, vessel, chosen, begin_ms, end_ms) if first is not None else []
    if as_csv:
        _print_csv(points, chosen, pk)
    elif as_json:
        print(json_text(_as_json(points, vessel, chosen, pk), indent=2))
    else:
        _print(points, cellar, chosen, pk, now_ms)
    return 0 if points else 1


def _print_csv(points: Sequence[BandPoint], quantity: BandQuantity, pk: Pk) -> None:
    """Free SO2 beside what was titrated; molecular SO2 with its model in every row."""
    molecular = quantity == "molecular_so2"
    model = (str(pk.model), pk.value)
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow((*_COLUMNS, *(("model", "pk") if molecular else ("titrated", "u_titrated"))))
    for at_ms, median, low, high, *titrated in points:
        numbers = ["" if number is None else f"{number:.6g}" for number in (median, low, high, *titrated)]
        out.writerow([iso_utc(at_ms), *numbers[:3], *(model if molecular else numbers[3:])])


def _as_json(points: Sequence[BandPoint], vessel: str, quantity: BandQuantity, pk: Pk) -> dict[str, object]:
    head: dict[str, object] = {"place": vessel, "quantity": quantity, "unit": "mg/L"}
    if quantity == "molecular_so2":
        head |= {"model": str(pk.model), "pk": pk.value}
    titrations = [
        {"at": iso_utc(point.at_ms), "mg_l": point.titrated_mg_l, "u_mg_l": point.u_titrated_mg_l}
        for point in points
        if point.titrated_mg_l is not None
    ]
    estimate = [
        {
            "at": iso_utc(point.at_ms),
            "median": _short(point.median_mg_l),
            "low_80": _short(point.low_80_mg_l),
            "high_80": _short(point.high_80_mg_l),
        }
        for point in points
    ]
    return {**head, "estimate": estimate, "titrations": titrations}


def _print(points: Sequence[BandPoint], cellar: Cellar, quantity: BandQuantity, pk: Pk, now_ms: int) -> None:
    if not points:
        print("There was no wine to estimate the SO2 of in that time.")
        return
    model = f" with {pk.name}" if quantity == "molecular_so2" else ""
    print(f"{quantity_name(quantity)}{model} in mg/L: median and ends of the 80 % interval")
    digits = 2 if quantity == "molecular_so2" else 0
    for point in points:
        words = [local_time(point.at_ms, cellar.site.zone, now_ms)]
        if point.median_mg_l is None:
            words.append("not known without a pH")
        else:
            words.append(
                f"{point.median_mg_l:.{digits}f}  ({point.low_80_mg_l:.{digits}f} to {point.high_80_mg_l:.{digits}f})"
            )
        if point.titrated_mg_l is not None:
            words.append(f"titrated {point.titrated_mg_l:.0f}")
        print("  ".join(words))


def _short(number: float | None) -> float | None:
    return None if number is None else round(number, 4)
