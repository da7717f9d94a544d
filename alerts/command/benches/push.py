"""`leeside bench push`: how long pushing wine from a keg takes, and how much gas."""

from __future__ import annotations

__all__ = ["EXAMPLE", "push"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number
from alerts.command.benches.moving_answer import print_transfer
from alerts.command.gas_options import Barometer, Bore, Length, VesselKind, as_gas_option, optional_finite
from alerts.command.options import Json
from alerts.errors import OutOfRange
from alerts.gas import moving_wine
from alerts.gas.cautions import TANK_CAUTIONS, TRANSFER_CAUTIONS
from alerts.gas.tube_flow import Tube

EXAMPLE: Final = (
    "Example: leeside bench push --kind keg --volume-l 18 --pressure-kpa 20 --height-m 0.5 --bore-mm 6.35 --length-m 2 "
    "--temperature 16 --max-pressure-kpa 200"
)


def push(
    kind: VesselKind,
    volume: Annotated[str, typer.Option("--volume-l", metavar="L", help="The wine to be moved.")],
    pressure: Annotated[str, typer.Option("--pressure-kpa", metavar="KPA", help="Gauge pressure that pushes it.")],
    bore: Bore,
    length: Length,
    height: Annotated[
        str, typer.Option("--height-m", metavar="M", help="How far it is lifted; negative where it flows down.")
    ] = "0",
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="CELSIUS", help="Temperature of the wine, °C, -5 to 40.")
    ] = "15",
    stamp: Annotated[
        str | None,
        typer.Option("--max-pressure-kpa", metavar="KPA", help="Gauge pressure stamped on the vessel."),
    ] = None,
    receiver: Annotated[
        str, typer.Option("--receiver-kpa", metavar="KPA", help="Gauge pressure kept in the receiving vessel.")
    ] = "0",
    alcohol: Annotated[str, typer.Option("--alcohol", metavar="PERCENT", help="Alcohol in % vol, 0 to 20.")] = "12",
    barometer: Barometer = "101.325",
    as_json: Json = False,
) -> None:
    """Work out how long pushing wine from a keg or tank takes, and the gas; never from glass."""
    volume_l, pressure_kpa = finite_number(volume, "--volume-l"), finite_number(pressure, "--pressure-kpa")
    stamp_kpa = optional_finite(stamp, "--max-pressure-kpa")
    try:
        worked = moving_wine.push(
            kind,
            volume_l,
            pressure_kpa,
            finite_number(height, "--height-m"),
            Tube(finite_number(bore, "--bore-mm"), finite_number(length, "--length-m")),
            finite_number(temperature, "--temperature"),
            alcohol_percent_vol=finite_number(alcohol, "--alcohol"),
            stamp_kpa=stamp_kpa,
            receiver_kpa=finite_number(receiver, "--receiver-kpa"),
            barometer_kpa=finite_number(barometer, "--barometer-kpa"),
        )
    except OutOfRange as error:
        raise as_gas_option(error) from error
    warnings = moving_wine.push_warnings(pressure_kpa, stamp_kpa)
    cautions = TANK_CAUTIONS if kind == "tank" else TRANSFER_CAUTIONS
    print_transfer(volume_l, worked, "gas used", warnings, cautions, as_json)
