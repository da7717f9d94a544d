"""A dose for a vessel's wine: lines for people, an object for programs, and the entry that it ends in."""

from __future__ import annotations

__all__ = ["dose_json", "dose_lines", "entry_command"]

import shlex
from collections.abc import Iterator
from datetime import tzinfo

from alerts.so2.vessel_dose import VesselDose
from alerts.view.due_lines import day_text
from alerts.view.so2.so2_lines import so2_line
from alerts.wine.adding import CAUTIONS, HOW_TO_ADD, HOW_TO_ADD_STOCK, OPENING_A_KEG
from alerts.wine.dose_outlook import expected_keys
from alerts.wine.molecular import TRADE_PK
from ingest.times import iso_utc


def dose_lines(dose: VesselDose, file: str, zone: tzinfo, *, is_keg: bool) -> list[str]:
    """Say what to add, what is expected then, what to be careful of, and how to write it down, line by line."""
    so2 = dose.so2
    lines = [f"{so2.vessel}: {so2_line(so2, zone)}", f"target: {dose.target.words}"]
    if dose.target.molecular_mg_l is not None and dose.before.ph is not None:
        lines[-1] += f"; at pH {dose.before.ph:.2f} that is {dose.target.free_mg_l:.0f} mg/L free"
    if dose.plan is None:
        lines.append("nothing to add: the wine has as much already")
        return [*lines, *(f"note: {remark}" for remark in dose.remarks)]
    if dose.nothing_to_add:
        lines.append("nothing to add")
        return [*lines, *(f"warning: {remark}" for remark in dose.remarks)]
    lines += [*_what_to_add(dose), *_expected(dose)]
    lines += [f"warning: {remark}" for remark in dose.remarks]
    lines += [f"how: {step}" for step in _how(dose)]
    lines += [f"caution: {caution}" for caution in _cautions(is_keg=is_keg)]
    lines.append("nothing was written. When it is in the wine, write it down:")
    return [*lines, f"  {entry_command(dose, file)}"]


def _what_to_add(dose: VesselDose) -> Iterator[str]:
    plan, weighed = dose.plan, dose.measured[0]
    assert plan is not None
    advised = plan.advised
    salt = f"{dose.salt} metabisulfite"
    text = f"add {advised.metabisulfite_g:.3g} g of {salt} to {dose.volume_l:.4g} L: weigh {weighed.words}"
    if dose.stock is not None and len(dose.measured) > 1:
        text += (
            f", or pipette {dose.measured[1].words} of the stock solution with {dose.stock.g_per_100_ml:g} g/100 mL "
            f"({advised.stock_ml:.3g} mL)"
        )
    yield text
    if plan.cut_by is not None:
        yield f"this is less than the {plan.asked.metabisulfite_g:.3g} g that the target asks for, see below"
    used = dose.measured[-1]
    yield (
        f"it raises total SO2 by {advised.raise_total_mg_l:.3g} mg/L; rounding to {used.step:g} {used.unit} "
        f"changes that by {used.off_mg_l:+.2g} mg/L. {100.0 * dose.before.yield_share:.0f} ± "
        f"{100.0 * dose.before.u_yield:.0f} % of an addition is taken to stay free"
    )


def _expected(dose: VesselDose) -> Iterator[str]:
    outlook = dose.outlook
    assert outlook is not None
    yield (
        f"expected then: free {outlook.free.words}; at worst {dose.worst_free_mg_l:.0f} mg/L, if the wine has "
        f"{dose.so2.estimate.free_high_80_mg_l:.0f} now and all of it stays free"
    )
    if outlook.molecular is not None:
        worst = "" if dose.worst_molecular_mg_l is None else f"; at worst {dose.worst_molecular_mg_l:.2f} mg/L"
        pk = dose.before.pk or TRADE_PK
        yield f"molecular {outlook.molecular.words}{worst} ({pk.model}, {pk.name})"
    if outlook.total is not None:
        legal = "" if dose.legal is None else f"; legal limit {dose.legal.limit.total_mg_l:g} mg/L"
        yield f"total {outlook.total.words}{legal}"


def _how(dose: VesselDose) -> tuple[str, ...]:
    return HOW_TO_ADD if dose.stock is None else HOW_TO_ADD_STOCK


def _cautions(*, is_keg: bool) -> tuple[str, ...]:
    return (*CAUTIONS, OPENING_A_KEG) if is_keg else CAUTIONS


def entry_command(dose: VesselDose, file: str) -> str:
    """Give the command that writes the advised dose down, as a shell takes it; "" where nothing is to be added."""
    if dose.nothing_to_add:
        return ""
    used = dose.measured[-1]
    if dose.stock is not None and used.unit == "mL":
        stock = f"{dose.stock.g_per_100_ml:g} g/100 mL"
        form = ["--form", "stock solution", "--salt", dose.salt, "--volume", used.words, "--stock", stock]
    else:
        form = ["--form", "metabisulfite", "--salt", dose.salt, "--mass", used.words]
    return shlex.join(["leeside", "enter", "addition", file, "--vessel", dose.so2.vessel, *form])


def dose_json(dose: VesselDose, file: str, zone: tzinfo, *, is_keg: bool) -> dict[str, object]:
    """Give the same as an object; null for what is not known, and for what a dose of nothing has not."""
    so2, plan, before, outlook = dose.so2, dose.plan, dose.before, dose.outlook
    advised = None if plan is None else plan.advised
    titration, pk = so2.last_titration, before.pk or TRADE_PK
    by_unit = {each.unit: each for each in dose.measured}
    weighed, pipetted = by_unit.get("g"), by_unit.get("mL")
    return {
        "vessel": so2.vessel,
        "lot": so2.lot or None,
        "at": iso_utc(so2.at_ms),
        "volume_l": dose.volume_l,
        "from_free_mg_l": before.free_mg_l,
        "u_from_free_mg_l": before.u_free_mg_l,
        "last_titration": None
        if titration is None
        else {
            "at": iso_utc(titration.at_ms),
            "day": day_text(titration.at_ms, zone, so2.at_ms),
            "mg_l": titration.mg_l,
            "upper_bound": titration.upper_bound,
        },
        "to_free_mg_l": dose.target.free_mg_l,
        "to_molecular_mg_l": dose.target.molecular_mg_l,
        "target": dose.target.words,
        "nothing_to_add": dose.nothing_to_add,
        "metabisulfite_g": 0.0 if advised is None else advised.metabisulfite_g,
        "stock_ml": None if advised is None else advised.stock_ml,
        "asked_metabisulfite_g": 0.0 if plan is None else plan.asked.metabisulfite_g,
        "cut": plan is not None and plan.cut_by is not None,
        "cut_by": None if plan is None or plan.cut_by is None else plan.cut_by.words,
        "largest_metabisulfite_g": None if plan is None else plan.largest.metabisulfite_g,
        "weigh_g": None if weighed is None else weighed.amount,
        "weigh_off_mg_l": None if weighed is None else weighed.off_mg_l,
        "pipette_ml": None if pipetted is None else pipetted.amount,
        "pipette_off_mg_l": None if pipetted is None else pipetted.off_mg_l,
        "raise_total_mg_l": 0.0 if advised is None else advised.raise_total_mg_l,
        "raise_free_mg_l": 0.0 if advised is None else before.yield_share * advised.raise_total_mg_l,
        "yield": before.yield_share,
        "u_yield": before.u_yield,
        **expected_keys("free", None if outlook is None else outlook.free),
        **expected_keys("molecular", None if outlook is None else outlook.molecular),
        **expected_keys("total", None if outlook is None else outlook.total),
        "worst_free_mg_l": dose.worst_free_mg_l,
        "worst_molecular_mg_l": dose.worst_molecular_mg_l,
        "ph": before.ph,
        "u_ph": None if before.ph is None else before.u_ph,
        "model": str(pk.model),
        "pk": pk.value,
        "legal": None
        if dose.total is None or dose.total.legal is None
        else {
            "rules": dose.total.legal.rules.id,
            "limit_mg_l": dose.total.legal.total_mg_l,
            "above": None if dose.legal is None else dose.legal.above,
            "told_apart": None if dose.legal is None else dose.legal.told_apart,
        },
        "warnings": list(dose.remarks),
        "how": list(_how(dose)),
        "cautions": list(_cautions(is_keg=is_keg)),
        "enter": entry_command(dose, file) or None,
    }
