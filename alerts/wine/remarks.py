"""What a person should know about a molecular SO2, or about the free SO2 that a target needs."""

from __future__ import annotations

__all__ = [
    "coarse_remarks",
    "model_remarks",
    "molecular_remarks",
    "needed_remarks",
    "ph_remarks",
    "too_much_free",
    "trade_remarks",
]

from collections.abc import Sequence
from typing import Final

from alerts.wine.dose import MeasuredOut
from alerts.wine.molecular import FreeNeeded, MolecularModel, MolecularSo2, Pk
from alerts.wine.targets import SENSORY_MOLECULAR_MG_L, most_free_mg_l
from ingest.journal.titration import So2Quantity, Style
from ingest.journal.titration_outcome import MOST_SO2_MG_L

# What most wine has (common practice, no source).
_USUAL_PH: Final = (2.9, 4.0)

# Beyond this share of the dose the balance or pipette is too coarse; a choice of this project.
_MOST_DOUBT: Final = 0.05


def molecular_remarks(found: MolecularSo2, free_mg_l: float, ph: float) -> tuple[str, ...]:
    """List what a person should know about a molecular SO2."""
    remarks = []
    most = MOST_SO2_MG_L[So2Quantity.FREE]
    if free_mg_l > most:
        remarks.append(f"{free_mg_l:g} mg/L free SO2 is implausible, more than {most:g}: look at the titration")
    if found.mg_l > SENSORY_MOLECULAR_MG_L:
        remarks.append(f"above {SENSORY_MOLECULAR_MG_L:g} mg/L molecular SO2 wine smells of it")
    return (*remarks, *ph_remarks(ph), *model_remarks(found.pk))


def needed_remarks(needed: FreeNeeded, ph: float) -> tuple[str, ...]:
    """List what a person should know about the free SO2 that a target needs."""
    return (
        *too_much_free(needed.mg_l, ph, needed.pk),
        *ph_remarks(ph),
        *trade_remarks(needed.pk),
        *model_remarks(needed.pk),
    )


def trade_remarks(pk: Pk) -> Sequence[str]:
    """Say that a target of the trade is not meant for the OIV model."""
    if pk.model is not MolecularModel.OIV:
        return ()
    return (
        "the targets of the trade, 0.5 to 0.8 mg/L, are written for the simple model with pK 1.81; the OIV model "
        "mostly asks for less free SO2",
    )


def too_much_free(free_mg_l: float, ph: float | None, pk: Pk, style: Style | None = None) -> Sequence[str]:
    """Say that a target asks for more free SO2 [mg/L] than is sensible, and why; ph, style None: not known."""
    most = most_free_mg_l(style)
    if free_mg_l <= most:
        return ()
    why = "" if ph is None else f", since at pH {ph:g} only {100.0 * pk.fraction(ph):.2g} % of it is molecular"
    return (
        f"that target takes {free_mg_l:.0f} mg/L free SO2{why}; above {most:g} mg/L wine smells of it: aim lower and "
        "keep the wine cool and the vessel full, or lower the pH",
    )


def ph_remarks(ph: float) -> Sequence[str]:
    """Doubt a pH that few wines have."""
    low, high = _USUAL_PH
    return () if low <= ph <= high else (f"few wines have pH {ph:g}, most {low:g} to {high:g}: check the meter",)


def model_remarks(pk: Pk) -> Sequence[str]:
    """Say where a model is on weak ground."""
    if pk.extrapolated:
        return (
            "the OIV table begins at 20 °C; below, its row of 20 °C is moved by the calorimetric shift of water, which "
            "is an extrapolation, good to some 12 %",
        )
    return ()


def coarse_remarks(measured: Sequence[MeasuredOut]) -> Sequence[str]:
    """Say that the way of measuring that will be used, the last one, is too coarse for the dose."""
    best = measured[-1]
    if best.doubt <= _MOST_DOUBT:
        return ()
    how = "weigh on a finer balance, or use a stock solution" if best.unit == "g" else "use a weaker stock solution"
    return (f"in steps of {best.step:g} {best.unit} this dose is only good to {100.0 * best.doubt:.0f} %: {how}",)
