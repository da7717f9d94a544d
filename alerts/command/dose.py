"""`leeside dose`: what to add to a vessel's wine, by what the journal knows of it. Writes nothing."""

from __future__ import annotations

__all__ = ["EXAMPLE", "dose"]

from typing import Annotated, Final

import typer

from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json
from alerts.command.so2_options import as_option, optional_number
from alerts.command.terminal import print_plain
from alerts.errors import DoseRefused, OutOfRange
from alerts.so2.used_salt import salt_used_last
from alerts.so2.vessel_dose import DoseWish, StockSolution, VesselDose, vessel_dose
from alerts.so2.vessel_so2 import so2_inside
from alerts.so2.vessel_total import totals_inside
from alerts.view.places.vessel_card import known_vessels
from alerts.view.so2.dose_lines import dose_json, dose_lines
from ingest.cellar import Cellar, nearest
from ingest.journal.kinds.addition import SO2_PER_SALT
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store import Store
from ingest.store.journal.stored_ledger import contents_inside

EXAMPLE: Final = "leeside dose cellar.toml K1 --to-molecular 0.6"

_OPTIONS: Final = {
    "volume": "--volume-l",
    "yield": "--yield",
    "SO2 fraction": "--so2-fraction",
    "stock": "--stock-g-per-100ml",
    "molecular target": "--to-molecular",
    "free SO2": "--to-free",
    "target": "--to-free, --to-molecular",
    "step": "--balance-g, --pipette-ml",
}
Vessel = Annotated[str, typer.Argument(metavar="VESSEL", help="The vessel.")]


def dose(
    file: File,
    vessel: Vessel,
    to_molecular: Annotated[
        str | None,
        typer.Option("--to-molecular", metavar="MG_L", help="Molecular SO2 wanted; by default by the wine's style."),
    ] = None,
    to_free: Annotated[str | None, typer.Option("--to-free", metavar="MG_L", help="Or the free SO2 wanted.")] = None,
    stock: Annotated[
        str | None,
        typer.Option(
            "--stock-g-per-100ml",
            metavar="G",
            help="Salt in your stock solution, made up to 100 mL; by default that of your last addition from one.",
        ),
    ] = None,
    salt: Annotated[
        str | None, typer.Option("--salt", metavar="SALT", help="potassium or sodium; by default that added last.")
    ] = None,
    so2_fraction: Annotated[
        str | None, typer.Option("--so2-fraction", metavar="SHARE", help="SO2 in the salt by mass, if it is old.")
    ] = None,
    yield_share: Annotated[
        str | None,
        typer.Option("--yield", metavar="SHARE", help="Share that stays free; by default what was learned."),
    ] = None,
    volume: Annotated[
        str | None, typer.Option("--volume-l", metavar="L", help="How much wine, where the journal does not say.")
    ] = None,
    ph: Annotated[
        str | None, typer.Option("--ph", metavar="PH", help="The wine's pH, instead of the newest that is known.")
    ] = None,
    balance: Annotated[str, typer.Option("--balance-g", metavar="G", help="The step of the balance, in g.")] = "0.01",
    pipette: Annotated[
        str, typer.Option("--pipette-ml", metavar="ML", help="The step of the pipette or syringe, in mL.")
    ] = "0.1",
    despite_malolactic: Annotated[
        bool, typer.Option("--despite-malolactic", help="Though malolactic fermentation is wanted or under way.")
    ] = False,
    despite_stale: Annotated[
        bool, typer.Option("--despite-stale-titration", help="Though the last titration is older than 31 days.")
    ] = False,
    as_json: Json = False,
) -> int:
    """Work out how much metabisulfite brings a vessel's wine to a target, and what is expected then.

    It writes nothing, and ends with the entry to make once the dose is in the wine. Exit code 1 where no dose can be
    worked out.
    """
    if to_free is not None and to_molecular is not None:
        raise typer.BadParameter("give one target, not both", param_hint="--to-free, --to-molecular")
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store), store.read():
        _known(cellar, store, vessel, now_ms)
        so2 = so2_inside(cellar, store, now_ms, [vessel]).get(vessel)
        total = totals_inside(cellar, store, now_ms, [vessel]).get(vessel)
        used_salt, used_stock = salt_used_last(store, now_ms)
    wish = _wish(
        to_molecular=to_molecular,
        to_free=to_free,
        volume=volume,
        ph=ph,
        yield_share=yield_share,
        salt=salt or used_salt,
        so2_fraction=so2_fraction,
        stock=used_stock if stock is None else StockSolution(optional_number(stock, "--stock-g-per-100ml") or 0.0),
        steps=(balance, pipette),
        despite=(despite_malolactic, despite_stale),
    )
    if so2 is None:
        raise DoseRefused(f"nothing is known of the wine in {vessel}: write down its filling and a titration")
    declared = next((each for each in cellar.vessel if each.id == vessel), None)
    try:
        found = vessel_dose(so2, total, None if declared is None else declared.capacity_l, wish)
    except OutOfRange as error:
        # A molecular target can ask for more free SO2 than there can be.
        targets = {} if to_molecular is None else dict.fromkeys(("free SO2", "target"), "--to-molecular")
        raise as_option(error, {**_OPTIONS, **targets}) from error
    _print(found, str(file), cellar, is_keg=declared is not None and declared.kind == "keg", as_json=as_json)
    return 0


def _print(found: VesselDose, file: str, cellar: Cellar, *, is_keg: bool, as_json: bool) -> None:
    zone = cellar.site.zone
    if as_json:
        print(json_text(dose_json(found, file, zone, is_keg=is_keg), indent=2))
        return
    for line in dose_lines(found, file, zone, is_keg=is_keg):
        print_plain(line)


def _known(cellar: Cellar, store: Store, id: str, now_ms: int) -> None:
    """Refuse a name that is not a vessel with wine in it. Call inside ``store.read()``."""
    known = known_vessels(cellar, store)
    contents = contents_inside(store.connection, now_ms, cellar)
    if id not in known:
        lying = sorted(vessel for vessel, holds in contents.items() if any(part.lot == id for part in holds.lots))
        if lying:
            where = " and ".join(lying)
            raise typer.BadParameter(
                f"'{id}' is a lot, and lies in {where}. A dose is for the wine of one vessel: name it",
                param_hint="VESSEL",
            )
        near = nearest(id, known)
        there = f"there are: {', '.join(known)}" if known else "the cellar file has none"
        there = f"did you mean {near}?" if near else there
        raise typer.BadParameter(f"no vessel '{id}'; {there}", param_hint="VESSEL")
    holds = contents.get(id)
    if holds is not None and holds.empty:
        raise DoseRefused(f"{id} is empty: there is no wine in it to add to")
    if holds is None or not holds.known:
        raise DoseRefused(
            f"the journal does not say what {id} holds, so no dose can be worked out: write down its filling "
            f"(leeside enter first-filling FILE --vessel {id} --lot ... --volume ...)"
        )


def _wish(
    *,
    to_molecular: str | None,
    to_free: str | None,
    volume: str | None,
    ph: str | None,
    yield_share: str | None,
    salt: str,
    so2_fraction: str | None,
    stock: StockSolution | None,
    steps: tuple[str, str],
    despite: tuple[bool, bool],
) -> DoseWish:
    if salt not in SO2_PER_SALT:
        raise typer.BadParameter(f"there is no '{salt}'; allowed: {', '.join(SO2_PER_SALT)}", param_hint="--salt")
    fraction = optional_number(so2_fraction, "--so2-fraction")
    return DoseWish(
        to_molecular_mg_l=optional_number(to_molecular, "--to-molecular"),
        to_free_mg_l=optional_number(to_free, "--to-free"),
        volume_l=optional_number(volume, "--volume-l"),
        ph=optional_number(ph, "--ph"),
        yield_share=optional_number(yield_share, "--yield"),
        so2_fraction=SO2_PER_SALT[salt] if fraction is None else fraction,
        salt=salt,
        stock=stock,
        balance_g=optional_number(steps[0], "--balance-g") or 0.0,
        pipette_ml=optional_number(steps[1], "--pipette-ml") or 0.0,
        despite_malolactic=despite[0],
        despite_stale_titration=despite[1],
    )
