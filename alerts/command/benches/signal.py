"""`leeside bench signal`: from a number on a transmitter's wire to a value, for wiring up a probe."""

from __future__ import annotations

__all__ = ["EXAMPLE", "signal"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.options import Json
from ingest.cellar import QUANTITIES, Counts, Signal, UnitError, from_wire, series_unit_conversion
from ingest.errors import Unreadable
from ingest.reading import quality_class, quality_reason

EXAMPLE: Final = 'Example: leeside bench signal "4-20 mA = 0-30 psi" 12.5'


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
    """Work out what a number on the wire means, and how far it can be trusted."""
    try:
        transmitter = Signal.parse(label)
        quantity = _quantity_of(transmitter.unit)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="SIGNAL") from error
    converter = None if counts is None else _converter(counts, transmitter)
    on_wire = finite_number(number, "NUMBER")
    supply_v = None if supply is None else _supply_v(supply, transmitter)
    try:
        value, code = from_wire(transmitter, converter, on_wire, supply_v)
    except Unreadable as error:
        raise typer.BadParameter(f"{number} is too large", param_hint="NUMBER") from error
    quality, reason = quality_class(code).name.lower(), quality_reason(code).name.lower()
    result: dict[str, object] = {"value": value, "unit": transmitter.unit, "quality": quality, "reason": reason}
    gain, offset = series_unit_conversion(quantity, transmitter.unit)
    in_our_unit, our_unit = gain * value + offset, QUANTITIES[quantity].unit
    if quantity == "temperature":
        result["temperature_c"] = in_our_unit
    also = "" if our_unit == transmitter.unit else f" ({in_our_unit:.5g} {our_unit})"
    wire_unit = transmitter.wire_unit if converter is None else "counts"
    because = "" if reason == "none" else f" ({reason})"
    text = f"{on_wire:g} {wire_unit}: {value:.5g} {transmitter.unit}{also}, {quality}{because}"
    print_answer(text, result, _warnings(transmitter, supply_v is not None, quality, reason), as_json)


def _converter(counts: str, transmitter: Signal) -> Counts:
    try:
        converter = Counts.parse(counts)
        converter.check(transmitter)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--counts") from error
    return converter


def _supply_v(supply: str, transmitter: Signal) -> float:
    if transmitter.kind != "ratiometric":
        raise typer.BadParameter(
            'only for a signal that follows its supply, such as "0.5-4.5 V of 5 V = 0-30 psi"; leave it out',
            param_hint="--supply",
        )
    volts = finite_number(supply, "--supply")
    if volts <= 0.0:
        raise typer.BadParameter(f"the supply must be above 0 V, not {volts:g} V", param_hint="--supply")
    return volts


def _quantity_of(unit: str) -> str:
    """The quantity that a label's unit measures. Raises ValueError that lists the units of all quantities."""
    allowed = []
    for quantity in ("pressure", "temperature", "pH"):
        try:
            series_unit_conversion(quantity, unit)
        except UnitError as error:
            allowed.append(str(error).rpartition("allowed for ")[2])
        else:
            return quantity
    raise ValueError(f'there is no unit "{unit}" that a probe measures in; allowed for {"; for ".join(allowed)}')


def _warnings(transmitter: Signal, supply_known: bool, quality: str, reason: str) -> list[str]:
    warnings = []
    if transmitter.kind == "ratiometric" and not supply_known:
        warnings.append(
            f"the supply was taken as {transmitter.supply_v:g} V; measure it (--supply), because the value follows it"
        )
    if reason == "rail":
        warnings.append("the converter is at its end: the true value may lie beyond it")
    elif reason == "saturated":
        low, high = transmitter.measured()
        warnings.append(f"outside what is measured, {low:g} to {high:g} {transmitter.wire_unit}")
    elif reason == "fault" and quality == "uncertain":
        warnings.append(f"the supply is more than 10 % from {transmitter.supply_v:g} V: check the power supply")
    elif reason == "fault" and transmitter.kind == "platinum":
        warnings.append("no temperature has this resistance: look for an open or shorted wire, or a Pt1000")
    elif reason == "fault" and transmitter.kind == "current":
        low, high = transmitter.failed()
        warnings.append(
            f"at {low:g} mA and less, or {high:g} mA and more, the transmitter or a wire has failed (NAMUR NE 43)"
        )
    elif reason == "fault":
        warnings.append("below 5 % or above 95 % of the supply, a wire is open or shorted")
    return warnings
