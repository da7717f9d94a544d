"""`leeside bench`: arithmetic without a cellar, for wiring up a probe or checking one against a gauge."""

from __future__ import annotations

__all__ = ["app"]

from typing import TYPE_CHECKING, Annotated, Final

import typer

from alerts.command.bench_numbers import finite_number, tell
from alerts.command.bench_titration import EXAMPLE, titration
from alerts.command.options import Json

if TYPE_CHECKING:
    from ingest.cellar import Signal

app = typer.Typer(
    help="Arithmetic without a cellar.", no_args_is_help=True, rich_markup_mode=None, pretty_exceptions_enable=False
)

app.command(epilog=EXAMPLE)(titration)

# A number may be negative: without this, -5 would be taken for an option.
_NEGATIVE: Final = {"ignore_unknown_options": True}

# So far a barometer may be from the standard atmosphere of the altitude before it looks like a sea-level pressure from
# a weather service. Deep weather moves it by about 3 kPa; the number is a choice of this project.
_ODD_BAROMETER_KPA: Final = 5.0


@app.command(epilog='Example: leeside bench signal "4-20 mA = 0-30 psi" 12.5', context_settings=_NEGATIVE)
def signal(
    label: Annotated[
        str, typer.Argument(metavar="SIGNAL", help='What the label says, such as "4-20 mA = 0-30 psi" or "Pt100".')
    ],
    number: Annotated[str, typer.Argument(metavar="NUMBER", help="What is on the wire: mA, V, ohm, or counts.")],
    supply: Annotated[
        str | None,
        typer.Option("--supply", metavar="VOLTS", help='The measured supply in V, for a signal "of 5 V".'),
    ] = None,
    counts: Annotated[
        str | None,
        typer.Option("--counts", metavar="COUNTS", help='What counts stand for, such as "0-4095 = 0-5 V".'),
    ] = None,
    as_json: Json = False,
) -> None:
    """What a number on the wire means, and how far it can be trusted."""
    from ingest.cellar import Counts, Signal, from_wire
    from ingest.errors import Unreadable
    from ingest.reading import quality_class, quality_reason

    try:
        meant = Signal.parse(label)
        quantity = _quantity_of(meant.unit)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="SIGNAL") from error
    if supply is not None and meant.kind != "ratiometric":
        raise typer.BadParameter(
            'only a voltage of a supply has one, such as "0.5-4.5 V of 5 V = 0-30 psi"; leave it out',
            param_hint="--supply",
        )
    try:
        counted = None if counts is None else Counts.parse(counts)
        if counted is not None:
            counted.check(meant)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--counts") from error
    on_wire = finite_number(number, "NUMBER")
    volts = None if supply is None else finite_number(supply, "--supply")
    if volts is not None and volts <= 0.0:
        raise typer.BadParameter(f"the supply must be above 0 V, not {volts:g} V", param_hint="--supply")
    try:
        value, code = from_wire(meant, counted, on_wire, volts)
    except Unreadable as error:
        raise typer.BadParameter(f"{number} is too large", param_hint="NUMBER") from error
    quality, reason = quality_class(code).name.lower(), quality_reason(code).name.lower()
    ours = _in_our_unit(quantity, value, meant.unit)
    result: dict[str, object] = {"value": value, "unit": meant.unit, "quality": quality, "reason": reason}
    if quantity == "temperature":
        result["temperature_c"] = ours[0]
    also = "" if ours[1] == meant.unit else f" ({ours[0]:.5g} {ours[1]})"
    unit = "counts" if counted is not None else meant.wire_unit
    said = f"{on_wire:g} {unit}: {value:.5g} {meant.unit}{also}, {quality}"
    warnings = _signal_warnings(meant, volts is not None, quality, reason)
    tell(said + ("" if reason == "none" else f" ({reason})"), result, warnings, as_json)


@app.command(epilog="Example: leeside bench pt100 107.79", context_settings=_NEGATIVE)
def pt100(
    ohms: Annotated[str | None, typer.Argument(metavar="OHMS", help="The resistance in ohm.")] = None,
    celsius: Annotated[
        str | None, typer.Option("--celsius", metavar="T", help="The other way: the resistance at this temperature.")
    ] = None,
    ohms_at_zero: Annotated[
        str, typer.Option("--ohms-at-zero", metavar="R0", help="Resistance at 0 °C: 100, or 1000 for a Pt1000.")
    ] = "100",
    as_json: Json = False,
) -> None:
    """Temperature of a platinum resistor (IEC 60751), or its resistance at a temperature."""
    from ingest.cellar import resistance_ohm, temperature_c

    if (ohms is None) == (celsius is None):
        raise typer.BadParameter("give either a resistance or --celsius", param_hint="OHMS, --celsius")
    zero = finite_number(ohms_at_zero, "--ohms-at-zero")
    if zero <= 0.0:
        raise typer.BadParameter(
            f"must be above 0 ohm, not {zero:g}; 100 for a Pt100, 1000 for a Pt1000", param_hint="--ohms-at-zero"
        )
    if celsius is not None:
        temperature = finite_number(celsius, "--celsius")
        try:
            resistance = resistance_ohm(temperature, zero)
        except ValueError as error:
            raise typer.BadParameter(str(error), param_hint="--celsius") from error
        value, unit, said = resistance, "ohm", f"{temperature:g} °C: {resistance:.4f} ohm"
    else:
        resistance = finite_number(ohms or "", "OHMS")
        try:
            temperature = temperature_c(resistance, zero)
        except ValueError as error:
            raise typer.BadParameter(
                f"{error}; a Pt1000 needs --ohms-at-zero 1000, an open or shorted wire has no temperature",
                param_hint="OHMS",
            ) from error
        value, unit, said = temperature, "°C", f"{resistance:.7g} ohm: {temperature:.2f} °C"
    tolerances = _tolerances(temperature)
    result = {
        "value": value,
        "unit": unit,
        "quality": "good",
        "temperature_c": temperature,
        "resistance_ohm": resistance,
        "tolerance_c": tolerances,
    }
    told = ", ".join(f"class {name} {by:.2f} °C" for name, by in tolerances.items())
    warnings = _temperature_warnings(temperature)
    tell(said + (f"\nmay be off by: {told}" if told else ""), result, warnings, as_json)


@app.command(
    epilog='Example: leeside bench pressure 55 --unit kPa --gauge --altitude "340 m"', context_settings=_NEGATIVE
)
def pressure(
    number: Annotated[str, typer.Argument(metavar="NUMBER", help="The pressure.")],
    unit: Annotated[str, typer.Option("--unit", metavar="UNIT", help="Its unit: kPa, bar, psi, ...")],
    gauge: Annotated[bool, typer.Option("--gauge", help="It is counted from the air outside.")] = False,
    absolute: Annotated[bool, typer.Option("--absolute", help="It is counted from vacuum.")] = False,
    altitude: Annotated[
        str | None,
        typer.Option("--altitude", metavar="AMOUNT", help='Height above sea level, such as "340 m".'),
    ] = None,
    barometer: Annotated[
        str | None,
        typer.Option(
            "--barometer", metavar="AMOUNT", help='The air at the place itself, such as "98.2 kPa"; not at sea level.'
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Absolute pressure from gauge, or gauge from absolute."""
    from ingest.cellar import Dimension, UnitError, conversion, find_unit, normal_unit

    if gauge == absolute:
        raise typer.BadParameter("say which it is: one of --gauge and --absolute", param_hint="--gauge, --absolute")
    kind, other = ("gauge", "absolute") if gauge else ("absolute", "gauge")
    given = finite_number(number, "NUMBER")
    try:
        found = find_unit(Dimension.PRESSURE, unit)
        gain, _ = conversion(Dimension.PRESSURE, unit, "kPa")
    except UnitError as error:
        raise typer.BadParameter(str(error), param_hint="--unit") from error
    if found.reference not in (None, kind):
        raise typer.BadParameter(f'"{unit}" is {found.reference} pressure, which --{kind} denies', param_hint="--unit")
    air_kpa, source, warnings = _air(altitude, barometer)
    bare = _bare_pressure_unit(normal_unit(unit))
    value = given + air_kpa / gain if gauge else given - air_kpa / gain
    absolute_kpa = (value if gauge else given) * gain
    if absolute_kpa < 0.0:
        raise typer.BadParameter(
            f"{given:g} {bare} {kind} would be less than vacuum, where the air has {air_kpa / gain:.5g} {bare}; "
            f"at least {-air_kpa / gain if gauge else 0.0:.5g} {bare} {kind} can be",
            param_hint="NUMBER",
        )
    result = {
        "value": value,
        "unit": bare,
        "reference": other,
        "quality": "good",
        "barometer_kpa": air_kpa,
    }
    said = f"{given:g} {bare} {kind}: {value:.5g} {bare} {other}\nthe air has {air_kpa:.2f} kPa ({source})"
    tell(said, result, warnings, as_json)


def _air(altitude: str | None, barometer: str | None) -> tuple[float, str, list[str]]:
    """(pressure of the air [kPa absolute], where it is from, what may be wrong with it)."""
    from ingest.cellar import QUANTITIES, Dimension, parse_amount
    from ingest.probes.file_scale import station_pressure_kpa

    if altitude is None and barometer is None:
        raise typer.BadParameter(
            'the pressure of the air is needed: give one, such as --altitude "340 m" or --barometer "98.2 kPa"',
            param_hint="--altitude, --barometer",
        )
    station = None
    if altitude is not None:
        try:
            height = parse_amount(altitude, dimension=Dimension.LENGTH, unit="m", example="340 m").number
            station = station_pressure_kpa(height)
        except ValueError as error:
            raise typer.BadParameter(str(error), param_hint="--altitude") from error
    if barometer is None:
        assert station is not None
        warning = "the weather moves the air by about 3 kPa around the standard atmosphere; --barometer is closer"
        return station, "standard atmosphere at that altitude", [warning]
    row = QUANTITIES["barometric_pressure"]
    try:
        air = parse_amount(
            barometer, dimension=row.dimension, unit=row.unit, example="98.2 kPa", pressure="absolute"
        ).number
        if not row.plausible_low <= air <= row.plausible_high:
            raise ValueError(f"the air has {row.plausible_low:g} to {row.plausible_high:g} kPa, not {air:g} kPa")
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--barometer") from error
    if station is None or abs(air - station) <= _ODD_BAROMETER_KPA:
        return air, "barometer", []
    warning = (
        f"at that altitude the air has about {station:.1f} kPa; weather services tell the pressure at sea level, "
        "which is not the pressure at the place"
    )
    return air, "barometer", [warning]


def _signal_warnings(meant: Signal, supply_known: bool, quality: str, reason: str) -> list[str]:
    warnings = []
    if meant.kind == "ratiometric" and not supply_known:
        warnings.append(
            f"the supply was taken as {meant.supply_v:g} V; measure it (--supply), for the value follows it"
        )
    if reason == "rail":
        warnings.append("the converter stands at its end: the true value may lie beyond")
    elif reason == "saturated":
        low, high = meant.measured()
        warnings.append(f"outside of what is measured, {low:g} to {high:g} {meant.wire_unit}")
    elif reason == "fault" and quality == "uncertain":
        warnings.append(f"the supply is more than 10 % from {meant.supply_v:g} V: look at the power supply")
    elif reason == "fault" and meant.kind == "platinum":
        warnings.append("no temperature has this resistance: look for an open or shorted wire, or Pt1000 for Pt100")
    elif reason == "fault" and meant.kind == "current":
        low, high = meant.failed()
        warnings.append(
            f"at {low:g} mA and less, or {high:g} mA and more, transmitter or wire has failed (NAMUR NE 43)"
        )
    elif reason == "fault":
        warnings.append("below 5 % or above 95 % of the supply a wire is open or shorted")
    return warnings


def _temperature_warnings(temperature: float) -> list[str]:
    from ingest.cellar import QUANTITIES

    row = QUANTITIES["temperature"]
    if row.plausible_low <= temperature <= row.plausible_high:
        return []
    told = f"{row.plausible_low:g} to {row.plausible_high:g} °C"
    return [f"a cellar has {told}: is it the right resistor, and are its wires whole?"]


def _tolerances(temperature: float) -> dict[str, float]:
    """By how much each class that holds at the temperature may be off [°C]."""
    from ingest.cellar import TOLERANCES, tolerance_c

    return {
        name: tolerance_c(temperature, name)
        for name, row in TOLERANCES.items()
        if row.low_c <= temperature <= row.high_c
    }


def _quantity_of(unit: str) -> str:
    """The quantity that a label's unit measures. Raises ValueError that lists the units of all quantities."""
    from ingest.cellar import QUANTITIES, UnitError, series_unit_conversion

    told = []
    for name in ("pressure", "temperature", "pH"):
        try:
            series_unit_conversion(name, unit)
        except UnitError as error:
            told.append(str(error).rpartition("allowed for ")[2])
        else:
            return QUANTITIES[name].name
    raise ValueError(f'there is no unit "{unit}" that a probe measures in; allowed for {"; for ".join(told)}')


def _in_our_unit(quantity: str, value: float, unit: str) -> tuple[float, str]:
    from ingest.cellar import QUANTITIES, series_unit_conversion

    gain, offset = series_unit_conversion(quantity, unit)
    return gain * value + offset, QUANTITIES[quantity].unit


def _bare_pressure_unit(name: str) -> str:
    """The unit's name without what it is counted from: psia -> psi, kPa gauge -> kPa."""
    if name in ("psia", "psig"):
        return "psi"
    return name.removesuffix(" gauge").removesuffix(" absolute")
