"""Options about sulfur dioxide that several commands share: pH, and the model of molecular SO2."""

from __future__ import annotations

__all__ = [
    "Alcohol",
    "Model",
    "OwnPk",
    "Ph",
    "Temperature",
    "UAlcohol",
    "UPh",
    "UTemperature",
    "as_option",
    "optional_number",
    "pk_of",
    "standard_uncertainty",
]

from collections.abc import Mapping
from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number
from alerts.errors import OutOfRange
from alerts.wine.molecular import OIV_ALCOHOL_RANGE, OIV_TEMPERATURE_RANGE, MolecularModel, Pk, oiv_pk, simple_pk

Ph = Annotated[str, typer.Option("--ph", metavar="PH", help="The wine's pH, 2.5 to 4.5.")]
Alcohol = Annotated[
    str | None, typer.Option("--alcohol", metavar="PERCENT", help="Alcohol in % vol, 0 to 20; the oiv model needs it.")
]
Temperature = Annotated[
    str | None,
    typer.Option("--temperature", metavar="CELSIUS", help="The wine's °C, -5 to 40; the oiv model needs it."),
]
Model = Annotated[
    str, typer.Option("--model", metavar="MODEL", help="simple (one pK) or oiv (by alcohol and temperature).")
]
OwnPk = Annotated[str | None, typer.Option("--pk", metavar="PK", help="The simple model's pK; 1.81 by default.")]
UPh = Annotated[str, typer.Option("--u-ph", metavar="U", help="Standard uncertainty of the pH.")]
UAlcohol = Annotated[str, typer.Option("--u-alcohol", metavar="U", help="Standard uncertainty of the alcohol, % vol.")]
UTemperature = Annotated[
    str, typer.Option("--u-temperature", metavar="U", help="Standard uncertainty of the temperature, °C.")
]

# Larger ones are slips of the comma; a choice of this project.
_MOST_U: Final = 1000.0
_OPTIONS: Final = {
    "pH": "--ph",
    "alcohol": "--alcohol",
    "temperature": "--temperature",
    "pK": "--pk",
    "free SO2": "--free-mg-l",
    "molecular target": "--target-mg-l",
}


def as_option(error: OutOfRange, options: Mapping[str, str] | None = None) -> typer.BadParameter:
    """Make of a refusal an error that names the option; options: what each number is of, beside the shared ones."""
    return typer.BadParameter(str(error), param_hint={**_OPTIONS, **(options or {})}.get(error.of))


def optional_number(text: str | None, option: str) -> float | None:
    """Read a finite number if there is one. Raises typer.BadParameter that names the option."""
    return None if text is None else finite_number(text, option)


def standard_uncertainty(text: str, option: str) -> float:
    """Read a standard uncertainty. Raises typer.BadParameter for one below 0 or above 1000."""
    u = finite_number(text, option)
    if not 0.0 <= u <= _MOST_U:
        raise typer.BadParameter(
            f"a standard uncertainty of {u:g} cannot be; allowed are 0 to {_MOST_U:g}", param_hint=option
        )
    return u


def pk_of(
    model: str,
    own_pk: str | None,
    alcohol: str | None,
    temperature: str | None,
    u_alcohol: str = "0",
    u_temperature: str = "0",
) -> Pk:
    """Work out the pK of the model that was asked for. Raises typer.BadParameter that names the option."""
    try:
        asked = MolecularModel(model)
    except ValueError:
        allowed = ", ".join(MolecularModel)
        raise typer.BadParameter(f"there is no model '{model}'; allowed: {allowed}", param_hint="--model") from None
    percent, celsius = optional_number(alcohol, "--alcohol"), optional_number(temperature, "--temperature")
    u_percent, u_celsius = (
        standard_uncertainty(u_alcohol, "--u-alcohol"),
        standard_uncertainty(u_temperature, "--u-temperature"),
    )
    try:
        if asked is MolecularModel.SIMPLE:
            # It uses neither, but a number that no wine has is a slip all the same.
            if percent is not None:
                OIV_ALCOHOL_RANGE.checked(percent)
            if celsius is not None:
                OIV_TEMPERATURE_RANGE.checked(celsius)
            return simple_pk() if own_pk is None else simple_pk(finite_number(own_pk, "--pk"))
        if own_pk is not None:
            raise typer.BadParameter(
                "the oiv model works its pK out; leave it out, or take --model simple", param_hint="--pk"
            )
        if percent is None or celsius is None:
            raise typer.BadParameter(
                "the oiv model needs both, such as --alcohol 12.5 --temperature 14",
                param_hint="--alcohol, --temperature",
            )
        return oiv_pk(percent, celsius, u_percent, u_celsius)
    except OutOfRange as error:
        raise as_option(error) from error
