"""`leeside bench pt100`: temperature and resistance of a platinum resistor."""

from __future__ import annotations

__all__ = ["EXAMPLE", "pt100"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.options import Json
from ingest.cellar import QUANTITIES, TOLERANCES, resistance_ohm, temperature_c, tolerance_c

EXAMPLE: Final = "Example: leeside bench pt100 107.79"


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
    """Work out the temperature of a platinum resistor (IEC 60751), or its resistance at a temperature."""
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
        value, unit, text = resistance, "ohm", f"{temperature:g} °C: {resistance:.4f} ohm"
    else:
        resistance = finite_number(ohms or "", "OHMS")
        try:
            temperature = temperature_c(resistance, zero)
        except ValueError as error:
            raise typer.BadParameter(
                f"{error}; a Pt1000 needs --ohms-at-zero 1000, an open or shorted wire has no temperature",
                param_hint="OHMS",
            ) from error
        value, unit, text = temperature, "°C", f"{resistance:.7g} ohm: {temperature:.2f} °C"
    tolerances = {
        name: tolerance_c(temperature, name)
        for name, row in TOLERANCES.items()
        if row.low_c <= temperature <= row.high_c
    }
    if tolerances:
        text += "\nmay be off by: " + ", ".join(f"class {name} {by:.2f} °C" for name, by in tolerances.items())
    result = {
        "value": value,
        "unit": unit,
        "quality": "good",
        "temperature_c": temperature,
        "resistance_ohm": resistance,
        "tolerance_c": tolerances,
    }
    print_answer(text, result, _warnings(temperature), as_json)


def _warnings(temperature: float) -> list[str]:
    low, high = QUANTITIES["temperature"].plausible_low, QUANTITIES["temperature"].plausible_high
    if low <= temperature <= high:
        return []
    return [f"a cellar has {low:g} to {high:g} °C: is it the right resistor, and are its wires whole?"]
