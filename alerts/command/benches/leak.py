"""`leeside bench leak`: what the readings over one wine say of its gas."""

from __future__ import annotations

__all__ = ["EXAMPLE", "leak"]

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Final, Literal, TextIO

import typer

from alerts.allowed_range import AllowedRange
from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.benches.blanket_table import OPTIONAL, REQUIRED, read_blanket_table
from alerts.command.gas_options import Barometer, GasName, as_gas_option, not_below_zero
from alerts.command.options import Json
from alerts.errors import OutOfRange
from alerts.gas.blanket import BAROMETER_RANGE, GAUGE_RANGE, BlanketState, Filling, blanket
from alerts.gas.blanket_facts import BlanketFacts, BlanketJudgement, BlanketPoint
from alerts.gas.cautions import PRESSURE_CAUTIONS
from alerts.gas.gases import blanket_gas
from alerts.view.format import counted
from alerts.view.gas.blanket_values import hours_text
from ingest.json_text import json_text
from ingest.times import iso_utc, iso_utc_known

EXAMPLE: Final = (
    "Example: leeside bench leak readings.csv --gas nitrogen --capacity-l 19 --wine-l 18 --alcohol 12 --mounted wall"
)
# On the way a judgement is made when something is new, and else so often. Where only the last one is asked for, that
# holds for the last days, and before it is made seldom: what was found before counts, but takes time.
_EVERY_MS: Final = 10 * 60_000
_SELDOM_MS: Final = 6 * 3_600_000
_LAST_MS: Final = 2 * 86_400_000
_U_RANGE: Final = AllowedRange("uncertainty of the wine", 0.001, 1e5, "L", "a volume has")
_HELP: Final = (
    f"CSV with the columns {','.join(REQUIRED)} (RFC 3339, gauge kPa, °C); {' and '.join(OPTIONAL)} may follow. "
    "Without it, standard input."
)


def leak(
    gas: GasName,
    capacity: Annotated[str, typer.Option("--capacity-l", metavar="L", help="The vessel when brimful, at 20 °C.")],
    wine: Annotated[str, typer.Option("--wine-l", metavar="L", help="The wine in it as you believe, at 20 °C.")],
    table: Annotated[str, typer.Argument(metavar="READINGS", help=_HELP)] = "-",
    alcohol: Annotated[str, typer.Option("--alcohol", metavar="PERCENT", help="Alcohol in % vol, 0 to 20.")] = "12",
    material: Annotated[
        str, typer.Option("--material", metavar="MATERIAL", help="The walls: steel, glass or rigid (no expansion).")
    ] = "steel",
    mounted: Annotated[
        str, typer.Option("--mounted", metavar="WHERE", help="Where the temperature is taken: wine or wall.")
    ] = "wine",
    floor: Annotated[
        str, typer.Option("--floor-kpa", metavar="KPA", help="Air floor, gauge: below it air may come in.")
    ] = "5",
    barometer: Barometer = "101.325",
    reference: Annotated[
        str,
        typer.Option("--reference-temperature", metavar="CELSIUS", help="For the compensated pressure, °C, -5 to 40."),
    ] = "15",
    u_wine: Annotated[
        str, typer.Option("--u-wine-l", metavar="U", help="Standard uncertainty of the wine's volume, L.")
    ] = "0.2",
    as_it_goes: Annotated[
        bool, typer.Option("--as-it-goes", help="Print a JSON line for each judgement on the way.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Judge readings over one wine: gas that is gone, and gas that only got cold."""
    try:
        facts = _facts(
            Filling(
                finite_number(capacity, "--capacity-l"),
                finite_number(wine, "--wine-l"),
                finite_number(alcohol, "--alcohol"),
                material,
            ),
            gas,
            mounted,
            finite_number(floor, "--floor-kpa"),
            finite_number(barometer, "--barometer-kpa"),
            finite_number(reference, "--reference-temperature"),
            not_below_zero(u_wine, "--u-wine-l"),
        )
        with _opened(table) as lines:
            judgement = _judged(read_blanket_table(lines), facts, as_it_goes=as_it_goes)
    except OutOfRange as error:
        raise as_gas_option(error, _OPTIONS) from error
    if not as_it_goes:
        text = "\n".join(_lines(judgement, facts))
        print_answer(text, _result(judgement), judgement.warnings, as_json, cautions=PRESSURE_CAUTIONS)


_OPTIONS: Final = {
    "air floor": "--floor-kpa",
    "mounting": "--mounted",
    "table": "READINGS",
    "uncertainty of the wine": "--u-wine-l",
}


def _facts(
    filling: Filling,
    gas: str,
    mounted: str,
    floor_kpa: float,
    station_kpa: float,
    reference_c: float,
    u_wine_l: float,
) -> BlanketFacts:
    """Check all of it. Raises OutOfRange."""
    where: Literal["wine", "wall"]
    if mounted == "wine":
        where = "wine"
    elif mounted == "wall":
        where = "wall"
    else:
        raise OutOfRange("mounting", f"'{mounted}' is not a place for a thermometer; allowed: wine, wall")
    floor = GAUGE_RANGE._replace(name="air floor").checked(floor_kpa)
    BAROMETER_RANGE.checked(station_kpa)
    state = BlanketState(blanket_gas(gas), 0.0, 20.0, station_kpa)
    # Looks at filling and reference temperature, too.
    blanket(filling, state, reference_c)
    return BlanketFacts(
        filling,
        state.gas,
        u_wine_l=_U_RANGE.checked(u_wine_l),
        mounted=where,
        floor_kpa=floor,
        station_kpa=station_kpa,
        weather_moves=True,
        reference_c=reference_c,
    )


@contextmanager
def _opened(table: str) -> Iterator[TextIO]:
    if table == "-":
        yield sys.stdin
        return
    try:
        with Path(table).open(encoding="utf-8-sig", newline="") as text:
            yield text
    except OSError as error:
        raise OutOfRange("table", f"{table} cannot be read: {error.strerror}") from None


def _judged(points: Iterator[BlanketPoint], facts: BlanketFacts, *, as_it_goes: bool) -> BlanketJudgement:
    # With numpy, which the other benches do not need.
    from alerts.gas.blanket_watch import BlanketWatch

    ordered, remarks = _in_order(points)
    if not ordered:
        raise OutOfRange("table", "there is no row with a time, a pressure and a temperature in it")
    watch = BlanketWatch(facts)
    judged_ms: int | None = None
    for point in ordered[:-1]:
        watch.add(point)
        since_ms = _SELDOM_MS if judged_ms is None else point.at_ms - judged_ms
        if as_it_goes or ordered[-1].at_ms - point.at_ms <= _LAST_MS:
            is_due = since_ms >= _EVERY_MS or watch.has_news
        else:
            is_due = since_ms >= _SELDOM_MS
        if is_due:
            judged_ms = point.at_ms
            on_the_way = watch.judge(judged_ms)
            if as_it_goes:
                _print_line(on_the_way)
    watch.add(ordered[-1])
    judgement = watch.judge(ordered[-1].at_ms)
    judgement = replace(judgement, warnings=(*judgement.warnings, *remarks))
    if as_it_goes:
        _print_line(judgement)
    return judgement


def _in_order(points: Iterable[BlanketPoint]) -> tuple[list[BlanketPoint], list[str]]:
    """Bring points into the order of their times, the first of each time, with remarks on what was not so."""
    rows = list(points)
    first_of = {point.at_ms: point for point in reversed(rows)}
    ordered = [first_of[at_ms] for at_ms in sorted(first_of)]
    remarks = []
    if twice := len(rows) - len(ordered):
        remarks.append(f"left out, since there was a row of the same time before: {counted(twice, 'row')}")
    if unordered := sum(after.at_ms < before.at_ms for before, after in pairwise(rows)):
        remarks.append(
            f"brought into the order of their times, since a later row stood before: {counted(unordered, 'row')}"
        )
    return ordered, remarks


def _print_line(judgement: BlanketJudgement) -> None:
    print(json_text({"at": iso_utc(judgement.at_ms), **_result(judgement)}))


def _result(judgement: BlanketJudgement) -> dict[str, object]:
    return {
        "finding": judgement.finding,
        "leak_certain": judgement.leak_certain,
        "raw_kpa": judgement.raw_kpa,
        "compensated_kpa": judgement.compensated_kpa,
        "u_compensated_kpa": judgement.u_compensated_kpa,
        "rate_ml_min": judgement.rate_ml_min,
        "u_rate_ml_min": judgement.u_rate_ml_min,
        "rate_kpa_day": judgement.rate_kpa_day,
        "hours_to_floor_low": judgement.hours_low,
        "hours_to_floor_high": judgement.hours_high,
        "hours_to_floor_cold": judgement.hours_cold,
        "headspace_l": judgement.headspace_l,
        "u_headspace_l": judgement.u_headspace_l,
        "since": iso_utc_known(judgement.since_ms),
        "last_sound": iso_utc_known(judgement.last_sound_ms),
        "warnings": list(judgement.warnings),
    }


def _lines(judgement: BlanketJudgement, facts: BlanketFacts) -> Iterator[str]:
    certain = ", a leak is certain" if judgement.leak_certain else ""
    yield f"finding at {iso_utc(judgement.at_ms)}: {judgement.finding}{certain}"
    if judgement.raw_kpa is not None and judgement.compensated_kpa is not None:
        yield (
            f"pressure: {judgement.raw_kpa:.1f} kPa as read, {judgement.compensated_kpa:.1f} kPa at "
            f"{facts.reference_c:g} °C, standard uncertainty {judgement.u_compensated_kpa:.2g} kPa; gauge"
        )
    if judgement.rate_ml_min is not None:
        lost = "lost" if judgement.rate_ml_min >= 0 else "gained"
        yield (
            f"gas {lost}: {abs(judgement.rate_ml_min):.2g} mL/min at 0 °C and 101.325 kPa, standard uncertainty "
            f"{judgement.u_rate_ml_min:.2g} mL/min; {abs(judgement.rate_kpa_day or 0.0):.2g} kPa a day"
        )
    if until := hours_text(judgement.hours_low, judgement.hours_high):
        yield f"until the gauge falls below {facts.floor_kpa:g} kPa: {until}"
    elif judgement.hours_cold == 0:
        yield f"the gauge is below {facts.floor_kpa:g} kPa already; nothing shows that gas is lost"
    elif judgement.hours_cold is not None:
        hours = hours_text(judgement.hours_cold, judgement.hours_cold)
        yield f"cold alone brings the gauge below {facts.floor_kpa:g} kPa in {hours}"
    if judgement.headspace_l is not None:
        yield (
            f"headspace: {judgement.headspace_l:.3g} L at 20 °C, standard uncertainty {judgement.u_headspace_l:.2g} L"
        )
