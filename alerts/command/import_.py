"""`leeside import`: readings of the past from a table, or entries from lines of JSON."""

from __future__ import annotations

__all__ = ["import_"]

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Final
from zoneinfo import ZoneInfo

import typer

from alerts.command.exchange.import_entries import import_entries
from alerts.command.exchange.import_readings import import_readings
from alerts.command.exchange.import_results import ResultOptions, import_results
from alerts.command.exchange.import_targets import TableForm
from alerts.command.options import File, Json, Who, refuse_given, user_name
from ingest.exchange.moments import DATE_ORDERS, DateOrder
from ingest.exchange.result_table import ResultForm
from ingest.journal.bench_words import CHOICE_WORDS

EXAMPLE: Final = "leeside import cellar.toml logger.csv --probe k1-temperature --at Time --value Temp --unit degF"


def _time_zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise typer.BadParameter(f"there is no time zone '{name}', such as UTC or Europe/Ljubljana") from error


def _decimal_mark(text: str) -> str:
    if text not in (".", ","):
        raise typer.BadParameter(f"'{text}' is not a decimal mark; give . or ,")
    return text


def _delimiter(text: str) -> str:
    mark = "\t" if text in ("tab", "\\t") else text
    if len(mark) != 1 or mark in '"\r\n':
        raise typer.BadParameter(f"'{text}' is not a delimiter; give one character, or tab")
    return mark


def _date_order(text: str | None) -> DateOrder | None:
    order = next((each for each in DATE_ORDERS if each == text), None)
    if text is not None and order is None:
        raise typer.BadParameter(
            f"'{text}' is not an order of dates; give {' or '.join(DATE_ORDERS)}", param_hint="--dates"
        )
    return order


def _bench_method(text: str) -> str:
    meant = CHOICE_WORDS.get(" ".join(text.lower().split()), text)
    if meant not in ("iodometric", "aeration"):
        raise typer.BadParameter(f"'{text}' is not a method at the bench; give iodometric or aeration")
    return meant


def _names(at: str | None, pairs: str | None) -> dict[str, str]:
    """Column -> what it holds, for those whose head does not say it."""
    names = {} if at is None else {at: "date"}
    if pairs is not None:
        allowed = "meaning=column; write it like 'wine=Fass,free SO2 (mg/L)=SO2 frei'"
        names.update((column, meaning) for meaning, column in _pairs(pairs, allowed))
    return names


def _pairs(text: str, allowed: str) -> Iterator[tuple[str, str]]:
    """Give what stands before and behind each = of --map; allowed: what a pair is. Raises typer.BadParameter."""
    for pair in text.split(","):
        meaning, _, column = (part.strip() for part in pair.partition("="))
        if not (meaning and column):
            raise typer.BadParameter(f"'{pair.strip()}' is not {allowed}", param_hint="--map")
        yield meaning, column


def import_(
    file: File,
    data: Annotated[
        Path,
        typer.Argument(metavar="DATA", help="A table of text (CSV); with --entries, lines of JSON."),
    ],
    probe: Annotated[
        str | None, typer.Option("--probe", metavar="PROBE", help="Whose readings these are: the probe's id.")
    ] = None,
    at: Annotated[str | None, typer.Option("--at", metavar="COLUMN", help="The column of the times.")] = None,
    value: Annotated[str | None, typer.Option("--value", metavar="COLUMN", help="The column of the values.")] = None,
    pairs: Annotated[
        str | None,
        typer.Option("--map", metavar="PAIRS", help="Instead of --probe and --value: 'probe=column,probe=column'."),
    ] = None,
    unit: Annotated[
        str | None,
        typer.Option("--unit", metavar="UNIT", help="The unit of the values; by default the probe's own."),
    ] = None,
    zone: Annotated[
        ZoneInfo | None,
        typer.Option(
            "--zone",
            metavar="ZONE",
            parser=_time_zone,
            help="The zone of times that name none; by default that of the site.",
        ),
    ] = None,
    decimal: Annotated[
        str, typer.Option("--decimal", metavar="MARK", parser=_decimal_mark, help="The decimal mark: . or ,")
    ] = ".",
    delimiter: Annotated[
        str,
        typer.Option(
            "--delimiter", metavar="MARK", parser=_delimiter, help="What separates the columns: one character, or tab."
        ),
    ] = ",",
    entries: Annotated[
        bool, typer.Option("--entries", help="Entries of the journal, as `leeside export --entries` writes them.")
    ] = False,
    results: Annotated[
        bool,
        typer.Option("--results", help="Titrations and measurements by hand, a row for each wine and time."),
    ] = False,
    dates: Annotated[
        str | None,
        typer.Option("--dates", metavar="ORDER", help="Dates with slashes: day-first or month-first."),
    ] = None,
    method: Annotated[
        str | None,
        typer.Option("--method", metavar="WORD", parser=_bench_method, help="Of titres in mL: iodometric, aeration."),
    ] = None,
    titrant: Annotated[
        str | None, typer.Option("--titrant", metavar="NAME", help="Of titres in mL: the bottle, by its name.")
    ] = None,
    sample: Annotated[
        str | None, typer.Option("--sample", metavar="AMOUNT", help="Of titres in mL: the wine in a flask.")
    ] = None,
    blank: Annotated[
        str | None, typer.Option("--blank", metavar="AMOUNT", help="Of titres in mL: titrant used without SO2.")
    ] = None,
    who: Who = None,
    new_numbers: Annotated[
        bool,
        typer.Option("--new-numbers", help="The entries are of another journal: give them new numbers here."),
    ] = False,
    write: Annotated[
        bool, typer.Option("--write", help="Bring it in; without it, only show what would come of it.")
    ] = False,
    despite_warnings: Annotated[
        bool,
        typer.Option("--despite-warnings", help="Bring entries in although there are warnings; they stay with them."),
    ] = False,
    as_json: Json = False,
) -> int:
    """Bring in readings, results or entries of the past: show what would be taken and what not, with --write do it.

    Exit code 1 if there is nothing to take, or an entry that cannot be taken.
    """
    if results:
        refuse_given(
            {"--probe": probe, "--value": value, "--unit": unit, "--entries": entries, "--new-numbers": new_numbers},
            "does not belong to --results",
        )
        results_form = ResultForm(_names(at, pairs), who or user_name(), method, titrant, sample, blank)
        options = ResultOptions(results_form, None if delimiter == "," else delimiter, zone, _date_order(dates))
        return import_results(file, data, options, write=write, despite_warnings=despite_warnings, as_json=as_json)
    refuse_given(
        {"--method": method, "--titrant": titrant, "--sample": sample, "--blank": blank, "--who": who},
        "is about results by hand; add --results",
    )
    if entries:
        about_readings: dict[str, object] = {
            "--probe": probe,
            "--at": at,
            "--value": value,
            "--map": pairs,
            "--unit": unit,
            "--zone": zone,
            "--dates": dates,
            "--decimal": decimal != ".",
            "--delimiter": delimiter != ",",
        }
        refuse_given(about_readings, "is about a table of readings; leave it out with --entries")
        return import_entries(
            file, data, new_numbers=new_numbers, write=write, despite_warnings=despite_warnings, as_json=as_json
        )
    refuse_given(
        {"--new-numbers": new_numbers, "--despite-warnings": despite_warnings},
        "is about entries of the journal; add --entries",
    )
    columns = _columns(probe, at, value, pairs)
    form = TableForm(at, columns, unit, zone, "," if decimal == "," else ".", delimiter, _date_order(dates))
    return import_readings(file, data, form, write=write, as_json=as_json)


def _columns(probe: str | None, at: str | None, value: str | None, pairs: str | None) -> dict[str, str]:
    """Probe -> its column; empty where no option says so, for a table that `leeside export` wrote."""
    if (probe, at, value, pairs) == (None, None, None, None):
        return {}
    if at is None:
        raise typer.BadParameter("which column holds the times?", param_hint="--at")
    if pairs is None:
        if probe is None or value is None:
            raise typer.BadParameter("give both, or --map for several probes", param_hint="--probe, --value")
        return {probe: value}
    if probe is not None or value is not None:
        raise typer.BadParameter("give either --map, or --probe with --value", param_hint="--map")
    columns: dict[str, str] = {}
    for name, column in _pairs(pairs, "probe=column, such as 'k1-pressure=P1,k2-pressure=P2'"):
        if name in columns:
            raise typer.BadParameter(f"the probe {name} is named twice", param_hint="--map")
        columns[name] = column
    return columns
