"""`leeside bench molecular` and `leeside bench free-needed`: molecular SO2 from free, and the other way round."""

from __future__ import annotations

__all__ = ["EXAMPLE", "NEEDED_EXAMPLE", "free_needed_", "molecular"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.options import Json
from alerts.command.so2_options import (
    Alcohol,
    Model,
    OwnPk,
    Ph,
    Temperature,
    UAlcohol,
    UPh,
    UTemperature,
    as_option,
    optional_number,
    pk_of,
    standard_uncertainty,
)
from alerts.errors import OutOfRange
from alerts.wine.dose_outlook import usual_u_so2
from alerts.wine.molecular import Pk, free_needed, molecular_so2
from alerts.wine.remarks import molecular_remarks, needed_remarks

EXAMPLE: Final = "Example: leeside bench molecular --free-mg-l 30 --ph 3.45"
NEEDED_EXAMPLE: Final = "Example: leeside bench free-needed --target-mg-l 0.6 --ph 3.5"


def molecular(
    free: Annotated[str, typer.Option("--free-mg-l", metavar="MG_L", help="Free SO2, 0 to 400.")],
    ph: Ph,
    alcohol: Alcohol = None,
    temperature: Temperature = None,
    model: Model = "simple",
    own_pk: OwnPk = None,
    total: Annotated[
        str | None, typer.Option("--total-mg-l", metavar="MG_L", help="Total SO2, to check the free against.")
    ] = None,
    u_free: Annotated[
        str | None,
        typer.Option("--u-free-mg-l", metavar="U", help="Standard uncertainty of the free SO2; 1.5 or 5 % by default."),
    ] = None,
    u_ph: UPh = "0.05",
    u_alcohol: UAlcohol = "0.2",
    u_temperature: UTemperature = "0.5",
    as_json: Json = False,
) -> None:
    """Work out molecular SO2 from free SO2 and pH, with its standard uncertainty, by a model."""
    pk = pk_of(model, own_pk, alcohol, temperature, u_alcohol, u_temperature)
    free_mg_l, acidity = finite_number(free, "--free-mg-l"), finite_number(ph, "--ph")
    total_mg_l = optional_number(total, "--total-mg-l")
    if total_mg_l is not None and total_mg_l < free_mg_l:
        raise typer.BadParameter(
            f"{free_mg_l:g} mg/L free SO2 is more than {total_mg_l:g} mg/L total; free is a part of the total: look at "
            "both titrations",
            param_hint="--free-mg-l, --total-mg-l",
        )
    u_free_mg_l = usual_u_so2(free_mg_l) if u_free is None else standard_uncertainty(u_free, "--u-free-mg-l")
    try:
        found = molecular_so2(
            free_mg_l, acidity, pk, u_free_mg_l=u_free_mg_l, u_ph=standard_uncertainty(u_ph, "--u-ph")
        )
    except OutOfRange as error:
        raise as_option(error) from error
    text = (
        f"molecular SO2: {found.mg_l:.3g} mg/L ({pk.name}), standard uncertainty {found.u_mg_l:.2g} mg/L\n"
        f"{100.0 * found.fraction:.3g} % of {free_mg_l:g} mg/L free SO2 at pH {acidity:g}, pK {pk.value:.4g}"
    )
    result = {"molecular_mg_l": found.mg_l, "u_molecular_mg_l": found.u_mg_l, "free_mg_l": free_mg_l, "ph": acidity}
    print_answer(text, {**result, **_by(pk, acidity)}, molecular_remarks(found, free_mg_l, acidity), as_json)


def free_needed_(
    target: Annotated[str, typer.Option("--target-mg-l", metavar="MG_L", help="The molecular SO2 wanted.")],
    ph: Ph,
    alcohol: Alcohol = None,
    temperature: Temperature = None,
    model: Model = "simple",
    own_pk: OwnPk = None,
    u_ph: UPh = "0.05",
    u_alcohol: UAlcohol = "0.2",
    u_temperature: UTemperature = "0.5",
    as_json: Json = False,
) -> None:
    """Work out the free SO2 that a molecular target needs, with its standard uncertainty, by a model."""
    pk = pk_of(model, own_pk, alcohol, temperature, u_alcohol, u_temperature)
    target_mg_l, acidity = finite_number(target, "--target-mg-l"), finite_number(ph, "--ph")
    try:
        needed = free_needed(target_mg_l, acidity, pk, u_ph=standard_uncertainty(u_ph, "--u-ph"))
    except OutOfRange as error:
        raise as_option(error) from error
    text = (
        f"free SO2 needed: {needed.mg_l:.3g} mg/L, standard uncertainty {needed.u_mg_l:.2g} mg/L\n"
        f"for {target_mg_l:g} mg/L molecular SO2 ({pk.name}) at pH {acidity:g}, pK {pk.value:.4g}; "
        f"{100.0 * needed.fraction:.3g} % of it is molecular"
    )
    result = {"free_mg_l": needed.mg_l, "u_free_mg_l": needed.u_mg_l, "target_mg_l": target_mg_l, "ph": acidity}
    print_answer(text, {**result, **_by(pk, acidity)}, needed_remarks(needed, acidity), as_json)


def _by(pk: Pk, ph: float) -> dict[str, object]:
    """The model behind a number, in JSON."""
    return {
        "fraction": pk.fraction(ph),
        "pk": pk.value,
        "u_pk": pk.u,
        "model": pk.model.value,
        "extrapolated": pk.extrapolated,
    }
