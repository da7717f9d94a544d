"""`leeside bench siphon`: how long siphoning wine takes, with a head that falls as it runs."""

from __future__ import annotations

__all__ = ["EXAMPLE", "siphon"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number
from alerts.command.benches.moving_answer import print_transfer
from alerts.command.gas_options import Barometer, Bore, Length, as_gas_option
from alerts.command.options import Json
from alerts.errors import OutOfRange
from alerts.gas import moving_wine
from alerts.gas.cautions import SIPHON_CAUTIONS
from alerts.gas.tube_flow import Tube

EXAMPLE: Final = (
    "Example: leeside bench siphon --volume-l 20 --head-start-m 0.9 --head-end-m 0.4 --bore-mm 8 --length-m 2"
)


def siphon(
    volume: Annotated[str, typer.Option("--volume-l", metavar="L", help="The wine to be moved.")],
    head_start: Annotated[
        str, typer.Option("--head-start-m", metavar="M", help="Height between the two levels at the start, m.")
    ],
    head_end: Annotated[
        str, typer.Option("--head-end-m", metavar="M", help="Height between the two levels at the end, m; above 0.")
    ],
    bore: Bore,
    length: Length,
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="CELSIUS", help="Temperature of the wine, °C, -5 to 40.")
    ] = "15",
    alcohol: Annotated[str, typer.Option("--alcohol", metavar="PERCENT", help="Alcohol in % vol, 0 to 20.")] = "12",
    barometer: Barometer = "101.325",
    as_json: Json = False,
) -> None:
    """Work out how long siphoning takes, and the gas that takes the place of the wine."""
    volume_l = finite_number(volume, "--volume-l")
    try:
        worked = moving_wine.siphon(
            volume_l,
            finite_number(head_start, "--head-start-m"),
            finite_number(head_end, "--head-end-m"),
            Tube(finite_number(bore, "--bore-mm"), finite_number(length, "--length-m")),
            finite_number(temperature, "--temperature"),
            alcohol_percent_vol=finite_number(alcohol, "--alcohol"),
            barometer_kpa=finite_number(barometer, "--barometer-kpa"),
        )
    except OutOfRange as error:
        raise as_gas_option(error) from error
    print_transfer(volume_l, worked, "gas that takes the place of the wine", (), SIPHON_CAUTIONS, as_json)
