"""`leeside history`: readings of a probe; or readings and results of a lot or at a place. Oldest first."""

from __future__ import annotations

__all__ = ["history"]

import csv
import math
import sys
from collections.abc import Collection, Iterable, Iterator
from heapq import merge
from itertools import groupby
from operator import attrgetter, itemgetter
from typing import Annotated, Final, NamedTuple

import typer

from alerts.command.history_compensated import CompensatedPressure
from alerts.command.history_estimate import print_estimate
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json, Since, Until, refuse_given, time_range
from alerts.view.format import local_time, quantity_name, value_text
from ingest.cellar import QUANTITIES, Cellar
from ingest.history import MergedHistory, OfLot, OfPlace, OfProbe, Subject, pieces
from ingest.journal.kinds import result_units
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.reading import quality_class
from ingest.store import Store
from ingest.store.journal.entries import entries
from ingest.store.journal.hand_results import found_quantities
from ingest.store.judgements import HOUR_MS
from ingest.store.readings.series import all_series
from ingest.times import iso_utc

EXAMPLE: Final = "leeside history cellar.toml --lot malvasia-2026 --quantity free_so2 --csv"


class _Row(NamedTuple):
    """One reading or result; probe is None for a result, entry for a reading, which is never struck."""

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
    compensated_kpa: float | None = None
    quantity: str = ""


_ALL_COLUMNS: Final = ("at", *_Row._fields[1:])
_COLUMNS: Final = _ALL_COLUMNS[:-2]
# Where every quantity is asked for.
_WITH_QUANTITY: Final = ("at", "quantity", *_COLUMNS[1:])


class _Printout(NamedTuple):
    """How a history is printed.

    quantity: "" for every one that there is, and lines then name it; head: of the JSON object, and items: the name of
    the list in it; keys: of an item; columns: of the table; with_source: whether lines name place and probe; nothing:
    the line when there are no rows.
    """

    quantity: str
    head: dict[str, str]
    items: str = "history"
    keys: tuple[str, ...] = _COLUMNS
    columns: tuple[str, ...] = _COLUMNS
    with_source: bool = True
    nothing: str = "Nothing was read or found in that time."


def history(
    file: File,
    probe: Annotated[
        str | None,
        typer.Argument(metavar="PROBE", help="A probe's id, with --estimate a vessel's; or name a lot or a place."),
    ] = None,
    lot: Annotated[
        str | None,
        typer.Option("--lot", metavar="ID", help="A lot, through the vessels where it lay."),
    ] = None,
    place: Annotated[str | None, typer.Option("--place", metavar="ID", help="A vessel, cylinder or room.")] = None,
    quantity: Annotated[
        str | None,
        typer.Option(
            "--quantity",
            metavar="QUANTITY",
            help="Only this, such as temperature or free_so2; by default all there is.",
        ),
    ] = None,
    share: Annotated[
        float | None,
        typer.Option(
            "--share", metavar="SHARE", help="Only where the lot is at least this part of the wine, such as 0.5."
        ),
    ] = None,
    struck: Annotated[bool, typer.Option("--struck", help="Also results of struck entries.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print a table with a row for each reading or result.")] = False,
    as_json: Json = False,
    since: Since = None,
    until: Until = None,
    estimate: Annotated[
        bool, typer.Option("--estimate", help="What is estimated of a vessel's free_so2 or molecular_so2, as a band.")
    ] = False,
    compensated: Annotated[
        bool,
        typer.Option(
            "--compensated", help="Of a vessel's pressure also what its gas would show at the reference temperature."
        ),
    ] = False,
) -> int:
    """Print the readings of a probe, or readings and results of a lot wherever it lay, or at a place. Oldest first.

    Exit code 1 if there are none.
    """
    if as_csv and as_json:
        raise typer.BadParameter("choose one of --csv and --json")
    if estimate:
        given = {"--lot": lot, "--share": share, "--struck": struck, "--compensated": compensated}
        refuse_given(given, "cannot be combined with --estimate")
        return print_estimate(file, place or probe, quantity, since, until, as_csv=as_csv, as_json=as_json)
    _check_subject(probe, lot, place, quantity, share, struck=struck)
    with open_cellar(file) as (cellar, store):
        if probe is not None:
            subjects, printout = _of_probe(probe, cellar, store)
        elif lot is not None:
            subjects, printout = _of_lot(lot, quantity, share or 0.0, store)
        else:
            subjects, printout = _of_place(place or "", quantity, cellar, store)
        from_ms, to_ms = time_range(since, until, cellar.site.zone, wall_ms())
        streams = [
            _rows(pieces(store, subject, from_ms, to_ms, struck=struck), name) for name, subject in subjects.items()
        ]
        rows = streams[0] if len(streams) == 1 else merge(*streams, key=attrgetter("at_ms"))
        if compensated:
            printout = _check_compensated(printout)
            rows = _with_compensated(rows, CompensatedPressure(store))
        if as_csv:
            count = _print_csv(rows, printout)
        elif as_json:
            count = _print_json(rows, printout)
        else:
            count = _print_plain(rows, printout, cellar)
    return 0 if count else 1


def _with_compensated(rows: Iterator[_Row], of_gas: CompensatedPressure) -> Iterator[_Row]:
    """Put the compensated pressure of each hour beside the last reading that it was judged from, and no other."""
    for _, in_hour in groupby(rows, key=lambda row: row.at_ms // HOUR_MS):
        hour, judged_from = list(in_hour), dict[str | None, int]()
        for number, row in enumerate(hour):
            judged = of_gas.at(row.place, row.at_ms)
            if judged is not None and row.at_ms <= judged.at_ms and row.quality != "bad":
                judged_from[row.place] = number
        for place, number in judged_from.items():
            judged = of_gas.at(place, hour[number].at_ms)
            hour[number] = hour[number]._replace(compensated_kpa=None if judged is None else judged.value)
        yield from hour


def _check_compensated(printout: _Printout) -> _Printout:
    if printout.quantity != "pressure":
        what = quantity_name(printout.quantity) if printout.quantity else "every quantity"
        wrong = f"goes with a pressure, and this is {what}: name a pressure probe"
        raise typer.BadParameter(wrong, param_hint="--compensated")
    column = ("compensated_kpa",)
    return printout._replace(keys=(*printout.keys, *column), columns=(*printout.columns, *column))


def _check_subject(
    probe: str | None, lot: str | None, place: str | None, quantity: str | None, share: float | None, *, struck: bool
) -> None:
    if (probe, lot, place) == (None, None, None):
        raise typer.BadParameter("name a probe, or --lot or --place")
    if probe is not None:
        given = {"--lot": lot, "--place": place, "--quantity": quantity, "--share": share, "--struck": struck}
        why = f"belongs to a lot or a place; '{probe}' is taken for a PROBE: write --lot or --place before it"
        refuse_given(given, why)
    if lot is not None and place is not None:
        raise typer.BadParameter("choose one of --lot and --place")
    if share is not None and lot is None:
        raise typer.BadParameter("goes with --lot: the part of the wine that the lot is", param_hint="--share")
    if share is not None and not 0.0 <= share <= 1.0:
        raise typer.BadParameter(f"{share:g} is not a part of 1, such as 0.5", param_hint="--share")


def _of_probe(probe: str, cellar: Cellar, store: Store) -> tuple[dict[str, Subject], _Printout]:
    quantities = {item.id: item.quantity for item in cellar.probe} | {
        series.probe: series.quantity for series in all_series(store)
    }
    if probe not in quantities and any(place.id == probe for place in cellar.places):
        wrong = f"{probe} is a place, not a probe: write --place {probe} --quantity pressure, or another quantity"
        raise typer.BadParameter(wrong, param_hint="PROBE")
    _check_known("probe", probe, quantities, "PROBE")
    unit = QUANTITIES[quantities[probe]].unit
    return {quantities[probe]: OfProbe(probe)}, _Printout(
        quantities[probe],
        head={"probe": probe, "unit": unit},
        items="readings",
        keys=("at", "value", "quality"),
        columns=("at", "value", "unit", "quality"),
        with_source=False,
        nothing="No readings in that time.",
    )


def _of_lot(lot: str, quantity: str | None, least_share: float, store: Store) -> tuple[dict[str, Subject], _Printout]:
    _check_known("lot", lot, {entry.lot or "" for entry in entries(store, kinds=["lot"], struck=False)}, "--lot")
    chosen = _chosen_quantities(quantity, store)
    return {each: OfLot(lot, each, least_share) for each in chosen}, _printout({"lot": lot}, quantity)


def _of_place(place: str, quantity: str | None, cellar: Cellar, store: Store) -> tuple[dict[str, Subject], _Printout]:
    places = {item.id for item in cellar.places} | {series.place for series in all_series(store)}
    _check_known("place", place, places, "--place")
    chosen = _chosen_quantities(quantity, store)
    return {each: OfPlace(place, each) for each in chosen}, _printout({"place": place}, quantity)


def _printout(head: dict[str, str], quantity: str | None) -> _Printout:
    if quantity is None:
        return _Printout("", head=head, keys=_WITH_QUANTITY, columns=_WITH_QUANTITY)
    return _Printout(quantity, head={**head, "quantity": quantity})


def _chosen_quantities(quantity: str | None, store: Store) -> list[str]:
    """The quantity that was asked for, or all that were ever read, or found, also under a name of somebody's own."""
    found = found_quantities(store)
    if quantity is None:
        return sorted({series.quantity for series in all_series(store)} | found)
    _check_known("quantity", quantity, {*QUANTITIES, *result_units()} | found, "--quantity")
    return [quantity]


def _check_known(what: str, name: str, known: Collection[str], option: str) -> None:
    if name not in known:
        there = f"there are: {', '.join(sorted(known))}" if known else "there is none yet"
        raise typer.BadParameter(f"no {what} '{name}'; {there}", param_hint=option)


def _rows(history: Iterable[MergedHistory], quantity: str) -> Iterator[_Row]:
    return (row for piece in history for row in _rows_of(piece, quantity))


def _rows_of(merged: MergedHistory, quantity: str) -> Iterator[_Row]:
    for at_ms, value, _, quality, index, entry, share in zip(*(column.tolist() for column in merged.rows), strict=True):
        if entry:
            result = merged.results[entry]
            of_wine, struck = result.share, result.struck
            yield _Row(
                at_ms, value, result.u, result.unit, "good", result.vessel, None, of_wine, entry, struck, None, quantity
            )
        else:
            source = merged.sources[index]
            unit, words = QUANTITIES[source.quantity].unit, quality_class(quality).name.lower()
            part = None if math.isnan(share) else share
            place, probe = source.place, source.probe
            yield _Row(at_ms, value, None, unit, words, place, probe, part, None, False, None, quantity)


def _print_csv(rows: Iterator[_Row], printout: _Printout) -> int:
    pick = itemgetter(*map(_ALL_COLUMNS.index, printout.columns))
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(printout.columns)
    count = 0
    for count, row in enumerate(rows, 1):  # noqa: B007  the count is what is wanted after the loop
        at_ms, value, u, unit, quality, place, probe, share, entry, struck, compensated_kpa, quantity = row
        uncertainty = None if u is None else f"{u:.10g}"
        part = None if share is None else f"{share:.6g}"
        flag = "yes" if struck else None
        gas = None if compensated_kpa is None else f"{compensated_kpa:.6g}"
        cells = (
            iso_utc(at_ms),
            f"{value:.10g}",
            uncertainty,
            unit,
            quality,
            place,
            probe,
            part,
            entry,
            flag,
            gas,
            quantity,
        )
        out.writerow(pick(cells))  # None becomes an empty cell
    return count


def _print_json(rows: Iterator[_Row], printout: _Printout) -> int:
    """One object, whose rows are printed as they come: a year of readings is more than a small board's memory."""
    pick = itemgetter(*map(_ALL_COLUMNS.index, printout.keys))
    head = json_text(printout.head)
    print(f'{head[:-1]}, "{printout.items}": [', end="")
    count = 0
    for count, row in enumerate(rows, 1):
        item = dict(zip(printout.keys, pick((iso_utc(row.at_ms), *row[1:])), strict=True))
        print("\n " if count == 1 else ",\n ", json_text(item), sep="", end="")
    print("\n]}")
    return count


def _print_plain(rows: Iterator[_Row], printout: _Printout, cellar: Cellar) -> int:
    now_ms = wall_ms()
    count = 0
    for count, row in enumerate(rows, 1):  # noqa: B007  the count is what is wanted after the loop
        words = [local_time(row.at_ms, cellar.site.zone, now_ms)]
        if not printout.quantity:
            words.append(quantity_name(row.quantity))
        words.append(_value_text(row, row.quantity, cellar.site.units))
        if printout.with_source:
            words += [word for word in (row.place, row.probe) if word is not None]
        if row.compensated_kpa is not None:
            words.append(f"compensated {value_text('pressure', row.compensated_kpa, cellar.site.units)}")
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
        print(printout.nothing)
    return count


def _value_text(row: _Row, quantity: str, units: str) -> str:
    if row.entry is None:
        return value_text(quantity, row.value, units)
    if row.u is None or row.u <= 0:
        return f"{row.value:.4g} {row.unit}".rstrip()
    # Two digits of an uncertainty mean something, and of the value those that stand over them.
    decimals = max(0, 1 - math.floor(math.log10(row.u)))
    return f"{row.value:.{decimals}f} ± {row.u:.{decimals}f} {row.unit}".rstrip()
