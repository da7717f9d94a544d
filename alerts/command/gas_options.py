"""Options about gas that several commands share, and errors that name the option."""

from __future__ import annotations

__all__ = ["Barometer", "Bore", "GasName", "Length", "VesselKind", "as_gas_option", "not_below_zero", "optional_finite"]

from collections.abc import Mapping
from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number
from alerts.errors import OutOfRange

GasName = Annotated[
    str, typer.Option("--gas", metavar="GAS", help='nitrogen, argon or "carbon dioxide"; also N2, Ar or CO2.')
]
Barometer = Annotated[
    str,
    typer.Option(
        "--barometer-kpa",
        metavar="KPA",
        help="Air pressure at the place, kPa absolute, 50 to 110; not reduced to sea level.",
    ),
]

Bore = Annotated[str, typer.Option("--bore-mm", metavar="MM", help="Inner diameter of the tube, 1 to 100 mm.")]
Length = Annotated[str, typer.Option("--length-m", metavar="M", help="Length of the tube, 0.05 to 200 m.")]
VesselKind = Annotated[
    str,
    typer.Option("--kind", metavar="KIND", help="keg, tank, carboy, bottle or barrel; or glass or plastic."),
]

# The option that gives a number, by what the number is of.
_OPTIONS: Final = {
    "alcohol": "--alcohol",
    "barometer": "--barometer-kpa",
    "bore": "--bore-mm",
    "capacity": "--capacity-l",
    "cycles": "--cycles",
    "gas": "--gas",
    "head at the end": "--head-end-m",
    "head at the start": "--head-start-m",
    "headspace": "--capacity-l, --wine-l",
    "height": "--height-m",
    "high pressure": "--high-kpa",
    "kind": "--kind",
    "length": "--length-m",
    "low pressure": "--low-kpa",
    "material": "--material",
    "oxygen of the supply": "--supply-o2-percent",
    "pressure": "--pressure-kpa",
    "receiver's pressure": "--receiver-kpa",
    "reference temperature": "--reference-temperature",
    "released gas": "--released-l",
    "room": "--room-m3",
    "stamped pressure": "--max-pressure-kpa",
    "target oxygen": "--target-o2-percent",
    "temperature": "--temperature",
    "volume": "--volume-l",
    "water volume": "--water-volume-l",
    "wine": "--wine-l",
}


def as_gas_option(error: OutOfRange, options: Mapping[str, str] | None = None) -> typer.BadParameter:
    """Make of a refusal an error that names the option; options: what a number is of, where that differs."""
    return typer.BadParameter(str(error), param_hint={**_OPTIONS, **(options or {})}.get(error.of))


def optional_finite(text: str | None, option: str) -> float | None:
    """Read a finite number if there is one. Raises typer.BadParameter that names the option."""
    return None if text is None else finite_number(text, option)


def not_below_zero(text: str, option: str) -> float:
    """Read a finite number that is not below 0. Raises typer.BadParameter that names the option."""
    number = finite_number(text, option)
    if number < 0.0:
        raise typer.BadParameter(f"{number:g} cannot be; it must be 0 or more", param_hint=option)
    return number
