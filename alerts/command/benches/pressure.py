"""`leeside bench pressure`: absolute pressure from gauge and back, for checking a probe against a gauge."""

from __future__ import annotations

__all__ = ["EXAMPLE", "pressure"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.options import Json
from ingest.cellar import QUANTITIES, Dimension, UnitError, conversion, find_unit, normal_unit, parse_amount
from ingest.probes.file_scale import station_pressure_kpa

EXAMPLE: Final = 'Example: leeside bench pressure 55 --unit kPa --gauge --altitude "340 m"'

# So far a barometer may be from the standard atmosphere of the altitude before it looks like a sea-level pressure from
# a weather service. Deep weather moves it by about 3 kPa; the number is a choice of this project.
_ODD_BAROMETER_KPA: Final = 5.0


def pressure(
    number: Annotated[str, typer.Argument(metavar="NUMBER", help="The pressure.")],
    unit: Annotated[str, typer.Option("--unit", metavar="UNIT", help="Its unit: kPa, bar, psi, ...")],
    gauge: Annotated[bool, typer.Option("--gauge", help="It is gauge pressure, counted from the air outside.")] = False,
    absolute: Annotated[bool, typer.Option("--absolute", help="It is absolute pressure, counted from vacuum.")] = False,
    altitude: Annotated[
        str | None,
        typer.Option("--altitude", metavar="AMOUNT", help='Height above sea level, such as "340 m".'),
    ] = None,
    barometer: Annotated[
        str | None,
        typer.Option(
            "--barometer", metavar="AMOUNT", help='Air pressure at the place, such as "98.2 kPa"; not at sea level.'
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Work out absolute pressure from gauge pressure, or gauge from absolute."""
    if gauge == absolute:
        raise typer.BadParameter("say which it is: one of --gauge and --absolute", param_hint="--gauge, --absolute")
    kind, other = ("gauge", "absolute") if gauge else ("absolute", "gauge")
    given = finite_number(number, "NUMBER")
    try:
        reference = find_unit(Dimension.PRESSURE, unit).reference
        gain, _ = conversion(Dimension.PRESSURE, unit, "kPa")
    except UnitError as error:
        raise typer.BadParameter(str(error), param_hint="--unit") from error
    if reference not in (None, kind):
        raise typer.BadParameter(f'"{unit}" is {reference} pressure, but --{kind} was given', param_hint="--unit")
    air_kpa, source, warnings = _air(altitude, barometer)
    air = air_kpa / gain
    bare = _bare(normal_unit(unit))
    value = given + air if gauge else given - air
    if (value if gauge else given) < 0.0:
        raise typer.BadParameter(
            f"{given:g} {bare} {kind} is less than vacuum, since the air has {air:.5g} {bare}; "
            f"it must be at least {-air if gauge else 0.0:.5g} {bare} {kind}",
            param_hint="NUMBER",
        )
    result = {"value": value, "unit": bare, "reference": other, "quality": "good", "barometer_kpa": air_kpa}
    text = f"{given:g} {bare} {kind}: {value:.5g} {bare} {other}\nthe air has {air_kpa:.2f} kPa ({source})"
    print_answer(text, result, warnings, as_json)


def _air(altitude: str | None, barometer: str | None) -> tuple[float, str, list[str]]:
    """(pressure of the air [kPa absolute], where it is from, what may be wrong with it)."""
    station_kpa = None if altitude is None else _station_kpa(altitude)
    if barometer is not None:
        air_kpa = _barometer_kpa(barometer)
        if station_kpa is None or abs(air_kpa - station_kpa) <= _ODD_BAROMETER_KPA:
            return air_kpa, "barometer", []
        warning = (
            f"at that altitude the air has about {station_kpa:.1f} kPa; weather services report the pressure at sea "
            "level, which is not the pressure at the place"
        )
        return air_kpa, "barometer", [warning]
    if station_kpa is None:
        raise typer.BadParameter(
            'the pressure of the air is needed: give one, such as --altitude "340 m" or --barometer "98.2 kPa"',
            param_hint="--altitude, --barometer",
        )
    warning = "the weather moves the air by about 3 kPa around the standard atmosphere; --barometer is closer"
    return station_kpa, "standard atmosphere at that altitude", [warning]


def _station_kpa(altitude: str) -> float:
    try:
        height_m = parse_amount(altitude, dimension=Dimension.LENGTH, unit="m", example="340 m").number
        return station_pressure_kpa(height_m)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--altitude") from error


def _barometer_kpa(barometer: str) -> float:
    row = QUANTITIES["barometric_pressure"]
    try:
        amount = parse_amount(
            barometer, dimension=row.dimension, unit=row.unit, example="98.2 kPa", pressure="absolute"
        )
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--barometer") from error
    if not row.plausible_low <= amount.number <= row.plausible_high:
        raise typer.BadParameter(
            f"the air has {row.plausible_low:g} to {row.plausible_high:g} kPa, not {amount.number:g} kPa",
            param_hint="--barometer",
        )
    return amount.number


def _bare(unit: str) -> str:
    """The unit's name without what it is counted from: psia -> psi, kPa gauge -> kPa."""
    if unit in ("psia", "psig"):
        return "psi"
    return unit.removesuffix(" gauge").removesuffix(" absolute")
