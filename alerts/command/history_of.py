"""`leeside history --lot` and `--place`: readings and results of a quantity together, oldest first."""

from __future__ import annotations

__all__ = ["HistoryRequest", "run_history_of"]

import csv
import json
import math
import sys
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple

import typer

from alerts.command.opened_cellar import open_cellar, wall_ms
from alerts.command.options import time_range
from alerts.view.format import local_time, value_text
from ingest.cellar import QUANTITIES, Cellar
from ingest.history import OfLot, OfPlace, Whose, pieces
from ingest.journal.analyses import FOUND_UNITS, MEASURED_UNITS
from ingest.reading import quality_class
from ingest.store import Store
from ingest.store.journal.entries import entries
from ingest.store.journal.hand_results import found_quantities
from ingest.store.readings.series import all_series
from ingest.times import iso_utc

_COLUMNS: Final = ("at", "value", "u", "unit", "quality", "place", "probe", "share", "entry", "struck")


class HistoryRequest(NamedTuple):
    """What is asked for: a lot or a place, a quantity; None where nothing was said. least_share: see ``OfLot``; struck:
    results of struck entries as well.
    """

    lot: str | None
    place: str | None
    quantity: str | None
    least_share: float | None
    since: str | None
    until: str | None
    struck: bool


class _Row(NamedTuple):
    """One reading or result; probe is None for a result, entry for a reading, struck for a reading as well."""

    at_ms: int
    value: float
    u: float | None
    unit: str
    quality: str
    place: str | None
    probe: str | None
    share: float | None
    entry: int | None
    struck: bool


def run_history_of(file: Path, asked: HistoryRequest, *, as_csv: bool, as_json: bool) -> int:
    """Print them; exit code 1 when there are none, 2 for a wrong call."""
    with open_cellar(file) as (cellar, store):
        whose = _whose(asked, cellar, store)
        from_ms, to_ms = time_range(asked.since, asked.until, cellar.site.zone)
        rows = _rows(store, whose, from_ms, to_ms, struck=asked.struck)
        if as_csv:
            return 0 if _print_csv(rows) else 1
        if as_json:
            return 0 if _print_json(rows, whose) else 1
        return 0 if _print_plain(rows, whose.quantity, cellar) else 1


def _whose(asked: HistoryRequest, cellar: Cellar, store: Store) -> OfLot | OfPlace:
    if asked.lot is not None and asked.place is not None:
        raise typer.BadParameter("choose one of --lot and --place")
    if asked.lot is not None:
        lots = {entry.lot or "" for entry in entries(store, kinds=["lot"], struck=False)}
        _known("lot", asked.lot, lots, "--lot")
        least_share = 0.0 if asked.least_share is None else asked.least_share
        if not 0.0 <= least_share <= 1.0:
            raise typer.BadParameter(f"{least_share:g} is no part of 1, such as 0.5", param_hint="--share")
        return OfLot(asked.lot, _quantity(asked, store), least_share)
    if asked.least_share is not None:
        raise typer.BadParameter("goes with --lot: the part of the wine that the lot is", param_hint="--share")
    place = asked.place or ""
    _known("place", place, {item.id for item in cellar.places} | {row.place for row in all_series(store)}, "--place")
    return OfPlace(place, _quantity(asked, store))


def _quantity(asked: HistoryRequest, store: Store) -> str:
    """What can be read or found, and what somebody measured under a name of their own."""
    known = {*QUANTITIES, *FOUND_UNITS, *MEASURED_UNITS} | found_quantities(store)
    if asked.quantity is None:
        raise typer.BadParameter(f"is missing; there are: {', '.join(sorted(known))}", param_hint="--quantity")
    _known("quantity", asked.quantity, known, "--quantity")
    return asked.quantity


def _known(what: str, name: str, known: Collection[str], option: str) -> None:
    if name not in known:
        there = f"there are: {', '.join(sorted(known))}" if known else "there is none yet"
        raise typer.BadParameter(f"no {what} '{name}'; {there}", param_hint=option)


def _rows(store: Store, whose: Whose, from_ms: int, to_ms: int, *, struck: bool) -> Iterator[_Row]:
    for past in pieces(store, whose, from_ms, to_ms, struck=struck):
        for at_ms, value, u, quality, place, entry, share in zip(
            past.at_ms.tolist(),
            past.value.tolist(),
            past.u.tolist(),
            past.quality.tolist(),
            past.strand.tolist(),
            past.entry.tolist(),
            past.shares().tolist(),
            strict=True,
        ):
            part = None if math.isnan(share) else share
            if entry:
                found = past.results[entry]
                spread = None if math.isnan(u) else u
                yield _Row(at_ms, value, spread, found.unit, "good", found.vessel, None, part, entry, found.struck)
            else:
                strand = past.strands[place]
                unit = QUANTITIES[strand.quantity].unit
                judged = quality_class(quality).name.lower()
                yield _Row(at_ms, value, None, unit, judged, strand.place, strand.probe, part, None, False)


def _print_csv(rows: Iterator[_Row]) -> int:
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(_COLUMNS)
    count = 0
    for count, row in enumerate(rows, 1):  # noqa: B007  the count is what is wanted after the loop
        out.writerow(
            (
                iso_utc(row.at_ms),
                f"{row.value:.10g}",
                "" if row.u is None else f"{row.u:.10g}",
                row.unit,
                row.quality,
                row.place or "",
                row.probe or "",
                "" if row.share is None else f"{row.share:.6g}",
                "" if row.entry is None else row.entry,
                "yes" if row.struck else "",
            )
        )
    return count


def _print_json(rows: Iterator[_Row], whose: OfLot | OfPlace) -> int:
    """One object, whose rows are printed as they come: a year of readings is more than a small board's memory."""
    named = {"lot": whose.lot} if isinstance(whose, OfLot) else {"place": whose.place}
    head = json.dumps({**named, "quantity": whose.quantity}, ensure_ascii=False)
    print(f'{head[:-1]}, "history": [', end="")
    count = 0
    for count, row in enumerate(rows, 1):
        told: dict[str, Any] = {"at": iso_utc(row.at_ms), **row._asdict()}
        del told["at_ms"]
        print("\n " if count == 1 else ",\n ", json.dumps(told, ensure_ascii=False), sep="", end="")
    print("\n]}")
    return count


def _print_plain(rows: Iterator[_Row], quantity: str, cellar: Cellar) -> int:
    now_ms = wall_ms()
    count = 0
    for count, row in enumerate(rows, 1):  # noqa: B007  the count is what is wanted after the loop
        words = [local_time(row.at_ms, cellar.site.zone, now_ms), _shown(row, quantity, cellar.site.units)]
        words += [word for word in (row.place, row.probe) if word is not None]
        if row.entry is not None:
            words.append(f"entry no. {row.entry}")
        if row.share is not None and round(row.share, 3) < 1.0:
            words.append(f"{100 * row.share:.1f} % of the wine")
        if row.quality != "good":
            words.append(row.quality)
        if row.struck:
            words.append("struck")
        print("  ".join(words))
    if not count:
        print("Nothing was read or found in that time.")
    return count


def _shown(row: _Row, quantity: str, units: str) -> str:
    if row.entry is None:
        return value_text(quantity, row.value, units)
    if row.u is None or row.u <= 0:
        return f"{row.value:.4g} {row.unit}".rstrip()
    # Two digits of an uncertainty mean something, and of the value those that stand over them.
    decimals = max(0, 1 - math.floor(math.log10(row.u)))
    return f"{row.value:.{decimals}f} ± {row.u:.{decimals}f} {row.unit}".rstrip()
