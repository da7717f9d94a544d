"""`leeside bench cylinder`: what is in a gas cylinder, by pressure and temperature."""

from __future__ import annotations

__all__ = ["EXAMPLE", "cylinder"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.gas_options import GasName, as_gas_option
from alerts.command.options import Json
from alerts.errors import OutOfRange
from alerts.gas.cautions import CYLINDER_CAUTIONS
from alerts.gas.cylinder import cylinder_content, cylinder_warnings
from alerts.gas.gases import blanket_gas
from alerts.number_text import number_text

EXAMPLE: Final = (
    "Example: leeside bench cylinder --gas nitrogen --water-volume-l 10 --pressure-kpa 14900 --temperature 20"
)


def cylinder(
    gas: GasName,
    water_volume: Annotated[
        str,
        typer.Option("--water-volume-l", metavar="L", help="The water volume stamped on the cylinder's shoulder, L."),
    ],
    pressure: Annotated[str, typer.Option("--pressure-kpa", metavar="KPA", help="Gauge pressure, kPa; 1 bar is 100.")],
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="CELSIUS", help="Temperature of the cylinder, °C, -25 to 60.")
    ] = "15",
    as_json: Json = False,
) -> None:
    """Work out what a gas cylinder holds."""
    pressure_kpa = finite_number(pressure, "--pressure-kpa")
    temperature_c = finite_number(temperature, "--temperature")
    try:
        named = blanket_gas(gas)
        content = cylinder_content(named, finite_number(water_volume, "--water-volume-l"), pressure_kpa, temperature_c)
    except OutOfRange as error:
        raise as_gas_option(error) from error
    if content.litres is None or content.kg is None or content.mol is None:
        text = f"the pressure does not show how much {named.name} is left"
    else:
        text = (
            f"{named.name}: {number_text(content.litres, 4)} L at 15 °C and 101.325 kPa, "
            f"{number_text(content.kg, 3)} kg, {number_text(content.mol, 4)} mol"
        )
    result = {
        "content_l": content.litres,
        "content_kg": content.kg,
        "content_mol": content.mol,
        "vapour_kpa": content.vapour_kpa,
    }
    warnings = cylinder_warnings(named, content, pressure_kpa, temperature_c)
    print_answer(text, result, warnings, as_json, cautions=CYLINDER_CAUTIONS)
