"""`leeside bench dose`: from a target of SO2 to grams of metabisulfite, or millilitres of a stock solution."""

from __future__ import annotations

__all__ = ["EXAMPLE", "dose"]

from collections.abc import Sequence
from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.options import Json
from alerts.command.so2_options import (
    Alcohol,
    Model,
    OwnPk,
    Temperature,
    as_option,
    optional_number,
    pk_of,
)
from alerts.errors import OutOfRange
from alerts.wine.adding import CAUTIONS
from alerts.wine.dose import USUAL_YIELD, Dose, MeasuredOut, Product, dose_between, measured_out
from alerts.wine.dose_outlook import BeforeDose, DoseOutlook, dose_outlook, expected_keys, usual_u_so2
from alerts.wine.dose_plan import DosePlan, plan_dose
from alerts.wine.legal import RULE_SETS, LegalLimit, legal_limit
from alerts.wine.molecular import FREE_SO2_RANGE, USUAL_U_PH, Pk, free_needed
from alerts.wine.remarks import coarse_remarks, model_remarks, ph_remarks, trade_remarks
from ingest.journal.titration import Style

EXAMPLE: Final = "Example: leeside bench dose --volume-l 19 --from-free-mg-l 20 --to-free-mg-l 30"

# Which option each number is of that a dose can be refused for.
_OPTIONS: Final = {
    "volume": "--volume-l",
    "yield": "--yield",
    "SO2 fraction": "--so2-fraction",
    "stock": "--stock-g-per-100ml",
    "molecular target": "--to-molecular-mg-l",
    "sugar": "--sugar-g-l",
    "total SO2": "--total-mg-l",
}


def dose(
    volume: Annotated[str, typer.Option("--volume-l", metavar="L", help="How much wine.")],
    from_free: Annotated[str, typer.Option("--from-free-mg-l", metavar="MG_L", help="Free SO2 that it has.")],
    to_free: Annotated[
        str | None, typer.Option("--to-free-mg-l", metavar="MG_L", help="Free SO2 that it should have.")
    ] = None,
    to_molecular: Annotated[
        str | None,
        typer.Option("--to-molecular-mg-l", metavar="MG_L", help="Or the molecular SO2; this needs --ph."),
    ] = None,
    ph: Annotated[
        str | None, typer.Option("--ph", metavar="PH", help="The wine's pH, 2.5 to 4.5; shows molecular SO2 as well.")
    ] = None,
    alcohol: Alcohol = None,
    temperature: Temperature = None,
    model: Model = "simple",
    own_pk: OwnPk = None,
    yield_share: Annotated[
        str | None, typer.Option("--yield", metavar="SHARE", help="Share that stays free; 2/3 by default.")
    ] = None,
    so2_fraction: Annotated[
        str, typer.Option("--so2-fraction", metavar="SHARE", help="SO2 in the salt by mass; 0.674 for the sodium salt.")
    ] = "0.576",
    stock: Annotated[
        str | None,
        typer.Option("--stock-g-per-100ml", metavar="G", help="Salt in a stock solution, made up to 100 mL."),
    ] = None,
    total: Annotated[
        str | None, typer.Option("--total-mg-l", metavar="MG_L", help="Total SO2 that it has, for the legal limit.")
    ] = None,
    style: Annotated[
        str | None, typer.Option("--style", metavar="STYLE", help="white, rosé (or rose), red or sweet.")
    ] = None,
    sugar: Annotated[
        str | None, typer.Option("--sugar-g-l", metavar="G_L", help="Its sugar, for the legal limit.")
    ] = None,
    rules: Annotated[
        str, typer.Option("--rules", metavar="RULES", help="Whose legal limit: eu, eu-organic, oiv or us.")
    ] = "eu",
    balance: Annotated[str, typer.Option("--balance-g", metavar="G", help="The step of the balance, in g.")] = "0.01",
    pipette: Annotated[
        str, typer.Option("--pipette-ml", metavar="ML", help="The step of the pipette or syringe, in mL.")
    ] = "0.1",
    as_json: Json = False,
) -> None:
    """Work out how much metabisulfite brings free SO2 to a target, and what is expected then.

    It is arithmetic: the dose is not cut, but warned of, where it would pass a ceiling if all of it stayed free.
    """
    if (to_free is None) == (to_molecular is None):
        raise typer.BadParameter(
            "give exactly one of them: the free SO2 wanted, or the molecular",
            param_hint="--to-free-mg-l, --to-molecular-mg-l",
        )
    acidity = optional_number(ph, "--ph")
    if to_molecular is not None and acidity is None:
        raise typer.BadParameter("a molecular target needs the wine's pH, such as --ph 3.4", param_hint="--ph")
    by = pk_of(model, own_pk, alcohol, temperature)
    before = _before(from_free, total, acidity, by, yield_share)
    wine_style = _style(style)
    try:
        target_mg_l = _target(to_free, to_molecular, acidity, by)
        product = Product(finite_number(so2_fraction, "--so2-fraction"), optional_number(stock, "--stock-g-per-100ml"))
        asked = dose_between(
            finite_number(volume, "--volume-l"), before.free_mg_l, target_mg_l, before.yield_share, product
        )
        legal = _legal(rules, wine_style, optional_number(sugar, "--sugar-g-l"))
        plan = plan_dose(before, asked, target_mg_l, style=wine_style, legal=legal)
        outlook = dose_outlook(before, asked)
        measured = _measured(asked, balance, pipette)
    except OutOfRange as error:
        target = "--to-free-mg-l" if to_molecular is None else "--to-molecular-mg-l"
        raise as_option(error, {**_OPTIONS, "target": target, "free SO2": target}) from error
    warnings = [
        *plan.remarks,
        *coarse_remarks(measured),
        *(() if acidity is None else ph_remarks(acidity)),
        *(() if to_molecular is None else trade_remarks(by)),
        *model_remarks(by),
    ]
    result = {
        "metabisulfite_g": asked.metabisulfite_g,
        "stock_ml": asked.stock_ml,
        "raise_free_mg_l": target_mg_l - before.free_mg_l,
        "raise_total_mg_l": asked.raise_total_mg_l,
        "from_free_mg_l": before.free_mg_l,
        "to_free_mg_l": target_mg_l,
        "yield": before.yield_share,
        "weigh_g": measured[0].amount,
        "weigh_off_mg_l": measured[0].off_mg_l,
        "pipette_ml": measured[1].amount if len(measured) > 1 else None,
        "pipette_off_mg_l": measured[1].off_mg_l if len(measured) > 1 else None,
        "largest_metabisulfite_g": plan.largest.metabisulfite_g,
        **expected_keys("free", outlook.free),
        **expected_keys("molecular", outlook.molecular),
        **expected_keys("total", outlook.total),
        "worst_free_mg_l": outlook.worst_free_mg_l,
        "worst_molecular_mg_l": outlook.worst_molecular_mg_l,
        "model": by.model.value,
        "pk": by.value,
        "extrapolated": by.extrapolated,
    }
    print_answer(_text(plan, measured, outlook, by), result, warnings, as_json)


def _before(from_free: str, total: str | None, ph: float | None, pk: Pk, yield_share: str | None) -> BeforeDose:
    total_mg_l = optional_number(total, "--total-mg-l")
    try:
        free_mg_l = FREE_SO2_RANGE.checked(finite_number(from_free, "--from-free-mg-l"))
    except OutOfRange as error:
        raise as_option(error, {"free SO2": "--from-free-mg-l"}) from error
    if ph is not None:
        try:
            pk.fraction(ph)
        except OutOfRange as error:
            raise as_option(error) from error
    return BeforeDose(
        free_mg_l=free_mg_l,
        u_free_mg_l=usual_u_so2(free_mg_l),
        total_mg_l=total_mg_l,
        u_total_mg_l=0.0 if total_mg_l is None else usual_u_so2(total_mg_l),
        ph=ph,
        u_ph=USUAL_U_PH,
        pk=pk,
        yield_share=USUAL_YIELD if yield_share is None else finite_number(yield_share, "--yield"),
    )


def _style(text: str | None) -> Style | None:
    try:
        return None if text is None else Style(text)
    except ValueError:
        raise typer.BadParameter(f"there is no '{text}'; allowed: {', '.join(Style)}", param_hint="--style") from None


def _legal(rules: str, style: Style | None, sugar_g_l: float | None) -> LegalLimit:
    if rules not in RULE_SETS:
        raise typer.BadParameter(f"there is no '{rules}'; allowed: {', '.join(RULE_SETS)}", param_hint="--rules")
    return legal_limit(RULE_SETS[rules], style, sugar_g_l)


def _target(to_free: str | None, to_molecular: str | None, ph: float | None, pk: Pk) -> float:
    """The free SO2 wanted [mg/L]."""
    if to_molecular is not None and ph is not None:
        return free_needed(finite_number(to_molecular, "--to-molecular-mg-l"), ph, pk).mg_l
    return finite_number(to_free or "", "--to-free-mg-l")


def _measured(asked: Dose, balance: str, pipette: str) -> tuple[MeasuredOut, ...]:
    """The dose as it can be weighed and, where there is a stock solution, pipetted."""
    measured = []
    for unit, text, option in (("g", balance, "--balance-g"), ("mL", pipette, "--pipette-ml")):
        step = finite_number(text, option)
        try:
            if unit == "g":
                measured.append(measured_out(asked, "g", step))
            elif asked.product.stock_g_per_100_ml is not None:
                measured.append(measured_out(asked, "mL", step))
        except OutOfRange as error:
            raise as_option(error, {"step": option}) from error
    return tuple(measured)


def _text(plan: DosePlan, measured: Sequence[MeasuredOut], outlook: DoseOutlook, pk: Pk) -> str:
    asked = plan.asked
    lines = [f"{asked.metabisulfite_g:.4g} g of metabisulfite in {asked.volume_l:g} L: weigh {measured[0].words}"]
    if asked.stock_ml is not None:
        lines[0] += f"; or {asked.stock_ml:.4g} mL of the stock solution: pipette {measured[1].words}"
    lines.append(
        f"it raises total SO2 by {asked.raise_total_mg_l:.3g} mg/L; what is measured out changes that by "
        f"{measured[-1].off_mg_l:+.2g} mg/L"
    )
    lines.append(f"expected then: free {outlook.free.words}, {outlook.worst_free_mg_l:.0f} if all of it stays free")
    if outlook.molecular is not None:
        lines.append(f"molecular {outlook.molecular.words}, by {pk.name}")
    if outlook.total is not None:
        lines.append(f"total {outlook.total.words}")
    lines += [f"caution: {caution}" for caution in CAUTIONS]
    return "\n".join(lines)
