"""`leeside bench titration`: from millilitres of titrant to mg/L of sulfur dioxide."""

from __future__ import annotations

__all__ = ["EXAMPLE", "titration"]

from enum import StrEnum
from typing import Annotated, Final, TypeVar

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.options import Json
from ingest.journal.result_warnings import TitrationRefused
from ingest.journal.titrant import Bottle, Meaning, Titrant, TitrantStrength
from ingest.journal.titration import Method, So2Quantity, Style, Titration
from ingest.journal.titration_outcome import below_mg_l, titrated

EXAMPLE: Final = (
    "Example: leeside bench titration --method iodometric --quantity free --style white --titre-ml 1.2 --blank-ml 0.2 "
    "--sample-ml 25 --iodine-molarity 0.01"
)

_Choice = TypeVar("_Choice", bound=StrEnum)

# The option of each part that a titration may be refused for; the strength's is the one that was given.
_OPTIONS: Final = {
    "method": "--method",
    "titre": "--titre-ml",
    "blank": "--blank-ml",
    "sample": "--sample-ml",
    "factor": "--factor",
    "burette": "--burette-ml",
}
_STRENGTH_OPTIONS: Final = {
    "--normality": Meaning.NORMALITY,
    "--iodine-molarity": Meaning.IODINE_MOLARITY,
    "--iodate-molarity": Meaning.IODATE_MOLARITY,
    "--naoh-molarity": Meaning.NAOH_MOLARITY,
}
# A normality leaves open what it is of; there the method says.
_TITRANTS: Final = {
    Meaning.IODINE_MOLARITY: Titrant.IODINE,
    Meaning.IODATE_MOLARITY: Titrant.IODATE,
    Meaning.NAOH_MOLARITY: Titrant.NAOH,
}


def titration(
    method: Annotated[str, typer.Option("--method", metavar="METHOD", help="iodometric or aeration.")],
    quantity: Annotated[str, typer.Option("--quantity", metavar="QUANTITY", help="free or total.")],
    titre: Annotated[
        list[str], typer.Option("--titre-ml", metavar="ML", help="Titrant used; once for each flask, up to 10.")
    ],
    sample: Annotated[str, typer.Option("--sample-ml", metavar="ML", help="Wine in a flask.")],
    style: Annotated[
        str | None,
        typer.Option("--style", metavar="STYLE", help="white, rosé (or rose), red or sweet; red wine reads high."),
    ] = None,
    blank: Annotated[
        str, typer.Option("--blank-ml", metavar="ML", help="Titrant used without free SO2; 0 if none was titrated.")
    ] = "0",
    normality: Annotated[
        str | None, typer.Option("--normality", metavar="N", help="The titrant's strength in eq/L, such as 0.02.")
    ] = None,
    iodine_molarity: Annotated[
        str | None, typer.Option("--iodine-molarity", metavar="M", help="Or in mol/L of I2: twice that in eq/L.")
    ] = None,
    iodate_molarity: Annotated[
        str | None, typer.Option("--iodate-molarity", metavar="M", help="Or in mol/L of KIO3: six times that in eq/L.")
    ] = None,
    naoh_molarity: Annotated[
        str | None, typer.Option("--naoh-molarity", metavar="M", help="Or in mol/L of NaOH: the same in eq/L.")
    ] = None,
    factor: Annotated[
        str | None,
        typer.Option("--factor", metavar="F", help="Strength found by standardising over that on the label, near 1."),
    ] = None,
    burette: Annotated[str, typer.Option("--burette-ml", metavar="ML", help="What the burette holds.")] = "25",
    as_json: Json = False,
) -> None:
    """Work out free or total SO2 in mg/L from a titration, with its standard uncertainty and warnings."""
    by = _one_of(Method, method, "--method")
    sought = _one_of(So2Quantity, quantity, "--quantity")
    texts = zip(_STRENGTH_OPTIONS, (normality, iodine_molarity, iodate_molarity, naoh_molarity), strict=True)
    strengths = {option: text for option, text in texts if text is not None}
    if len(strengths) != 1:
        raise typer.BadParameter(
            f"give exactly one of them, not {len(strengths)}: the strength of one titrant, with what the number means",
            param_hint=", ".join(_STRENGTH_OPTIONS),
        )
    option, text = next(iter(strengths.items()))
    meaning = _STRENGTH_OPTIONS[option]
    titrant = _TITRANTS.get(meaning, Titrant.IODINE if by is Method.IODOMETRIC else Titrant.NAOH)
    try:
        done = Titration(
            method=by,
            quantity=sought,
            style=None if style is None else _one_of(Style, style, "--style"),
            titres_ml=tuple(finite_number(each, "--titre-ml") for each in titre),
            blank_ml=finite_number(blank, "--blank-ml"),
            sample_ml=finite_number(sample, "--sample-ml"),
            burette_ml=finite_number(burette, "--burette-ml"),
            bottle=Bottle(
                titrant,
                TitrantStrength(finite_number(text, option), meaning),
                None if factor is None else finite_number(factor, "--factor"),
            ),
        )
    except TitrationRefused as error:
        raise typer.BadParameter(str(error), param_hint=_OPTIONS.get(error.field, option)) from error
    outcome = titrated(done)
    result = {
        "so2_mg_l": outcome.so2_mg_l,
        "u_so2_mg_l": outcome.u_mg_l,
        "quantity": sought.value,
        "method": by.value,
        "titre_ml": done.mean_titre_ml,
        "normality_eq_l": done.bottle.normality_eq_l,
        "mg_l_per_ml": done.mg_l_per_ml,
    }
    if outcome.so2_mg_l is None:
        answer = f"{sought} SO2: < {below_mg_l(outcome.u_mg_l):.0f} mg/L"
    else:
        answer = f"{sought} SO2: {outcome.so2_mg_l:.1f} mg/L, standard uncertainty {outcome.u_mg_l:.1f} mg/L"
    flasks = len(done.titres_ml)
    mean = "1 flask" if flasks == 1 else f"mean of {flasks} flasks"
    answer += f"\n{done.mean_titre_ml:.4g} mL ({mean}) less {done.blank_ml:.4g} mL, {done.mg_l_per_ml:.4g} mg/L per mL"
    print_answer(answer, result, [warning.text for warning in outcome.warnings], as_json)


def _one_of(choices: type[_Choice], text: str, option: str) -> _Choice:
    try:
        return choices(text)
    except ValueError as error:
        allowed = ", ".join(choice.value for choice in choices)
        raise typer.BadParameter(f"there is no '{text}'; allowed: {allowed}", param_hint=option) from error
