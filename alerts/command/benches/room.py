"""`leeside bench room`: what becomes of a room's air if gas empties into it."""

from __future__ import annotations

__all__ = ["EXAMPLE", "room"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.gas_options import GasName, as_gas_option
from alerts.command.options import Json
from alerts.errors import OutOfRange
from alerts.gas.cautions import ROOM_CAUTIONS
from alerts.gas.gases import blanket_gas
from alerts.gas.room import room_air, room_warnings
from alerts.number_text import number_text

EXAMPLE: Final = "Example: leeside bench room --room-m3 30 --gas nitrogen --released-l 1426"


def room(
    room_m3: Annotated[str, typer.Option("--room-m3", metavar="M3", help="Volume of the room, m³.")],
    gas: GasName,
    released: Annotated[
        str, typer.Option("--released-l", metavar="L", help="Gas that empties into it, L at 15 °C and 101.325 kPa.")
    ],
    as_json: Json = False,
) -> None:
    """Work out the worst case of oxygen and carbon dioxide if gas empties into a room."""
    try:
        named = blanket_gas(gas)
        air = room_air(finite_number(room_m3, "--room-m3"), named, finite_number(released, "--released-l"))
    except OutOfRange as error:
        raise as_gas_option(error) from error
    added = f", carbon dioxide {number_text(air.co2_percent, 2)} % more" if air.co2_percent else ""
    text = (
        f"oxygen {number_text(air.o2_percent, 3)} %{added}: the average of the room at worst; a corner can be far worse"
    )
    result = {"o2_percent": air.o2_percent, "co2_percent": air.co2_percent}
    print_answer(text, result, room_warnings(named, air), as_json, cautions=ROOM_CAUTIONS)
