"""Whether the wine can ferment again in the bottle: its sugar, its malolactic fermentation, gas that rises now.

    c_CO2 = 0.489 S                           S: sugar [g/L]; at most, in practice about 0.47
    p = (c V_wine / M) / (V_gas / (R T) + H(t) V_wine)      M = 44.0095 g/mol; the bottle held none before

Worked example: 2 g/L of sugar, 0.75 L of wine under 5 mL at 20 °C: 0.98 g/L of carbon dioxide, 68 kPa. In a bottle for
still wine that pushes the cork, or bursts the glass.
"""

from __future__ import annotations

__all__ = ["bottle_pressure_kpa", "refermentation_section"]

from collections.abc import Iterator
from typing import Final

from alerts.gas.gases import GASES, R_KPA_L_MOL_K, kelvin
from alerts.gas.over_wine import gas_solubility
from alerts.number_text import number_text
from alerts.review.section import ReviewSection, ReviewVerdict, worse_of
from alerts.review.vessel_facts import VesselFacts
from alerts.view.due_lines import day_text
from alerts.wine.targets import Stage, style_target
from ingest.journal.titration import Style
from ingest.times import iso_utc_known

# g carbon dioxide of a g of glucose or fructose, and of malic acid: 2 x 44.01 / 180.16, 44.01 / 134.09.
CO2_PER_SUGAR: Final = 0.489
_CO2_PER_MALIC: Final = 0.328
# Above this yeasts find sugar to ferment [g/L] (common practice, no source).
_DRY_G_L: Final = 2.0
_BOTTLE_L: Final = 0.75
_UNDER_CLOSURE_L: Final = 0.005
_WARM_C: Final = 20.0
_AWAITED: Final = ("wanted", "under way")


def bottle_pressure_kpa(co2_g_l: float, bottle_l: float = _BOTTLE_L, celsius: float = _WARM_C) -> float:
    """Work out the pressure that carbon dioxide makes in a closed bottle [kPa gauge], above its air's."""
    gas = GASES["carbon dioxide"]
    capacity = _UNDER_CLOSURE_L / (R_KPA_L_MOL_K * kelvin(celsius)) + gas_solubility(gas, celsius) * bottle_l
    return co2_g_l * bottle_l / gas.molar_mass_g_mol / capacity


def refermentation_section(facts: VesselFacts) -> ReviewSection:
    """Judge whether the wine may ferment again once it is closed in."""
    sugar, sugar_ms = _sugar(facts)
    verdict, reasons = ReviewVerdict.IN_ORDER, []
    for judged, why in (*_gas_rising(facts), *_by_sugar(facts, sugar, sugar_ms), *_by_malolactic(facts)):
        verdict = worse_of(verdict, judged)
        reasons.append(why)
    pressure = None if sugar is None else bottle_pressure_kpa(CO2_PER_SUGAR * sugar)
    lines = (
        "what holds a sweet wine: filtration through 0.45 µm into sterile bottles, or potassium sorbate with SO2 in a "
        "wine without lactic bacteria (common practice, no source); SO2 alone does not stop yeasts",
    )
    numbers: dict[str, object] = {
        "sugar_g_l": sugar,
        "sugar_at": iso_utc_known(sugar_ms),
        "malolactic": facts.malolactic,
        "bottle_pressure_at_most_kpa": None if pressure is None else round(pressure, 1),
        "co2_at_most_g_l": None if sugar is None else CO2_PER_SUGAR * sugar,
    }
    needs = sugar is not None and sugar > _DRY_G_L
    return ReviewSection(
        "refermentation", "Fermenting again", verdict, " ".join(reasons), lines if needs else (), numbers
    )


def _sugar(facts: VesselFacts) -> tuple[float | None, int | None]:
    """The sugar [g/L] as it was measured last, else as the lot's entry says."""
    if facts.sugar_g_l is not None:
        return facts.sugar_g_l
    return facts.contents.sugar_g_l, None


def _gas_rising(facts: VesselFacts) -> Iterator[tuple[ReviewVerdict, str]]:
    if facts.shown is not None and facts.shown.finding == "gas rising":
        yield (
            ReviewVerdict.DO_NOT,
            f"Gas rises out of the wine in {facts.vessel}: it ferments or gives off carbon dioxide. Closed in, bottles "
            "burst.",
        )


def _by_sugar(facts: VesselFacts, sugar: float | None, sugar_ms: int | None) -> Iterator[tuple[ReviewVerdict, str]]:
    if sugar is None:
        yield (
            ReviewVerdict.NOT_KNOWN,
            "The sugar is not known: measure it (leeside enter measurement FILE --lot LOT --quantity sugar --value "
            "'1.5 g/L'); a hydrometer does not show the last grams.",
        )
        return
    when = "by the lot's entry" if sugar_ms is None else f"measured on {day_text(sugar_ms, facts.zone, facts.at_ms)}"
    known = f"{sugar:g} g/L of sugar, {when}"
    if sugar <= _DRY_G_L:
        yield ReviewVerdict.IN_ORDER, f"{known}: too little to ferment (up to {_DRY_G_L:g} g/L counts as dry)."
        return
    pressure = bottle_pressure_kpa(CO2_PER_SUGAR * sugar)
    yield (
        ReviewVerdict.TAKE_CARE,
        f"{known}: yeasts can ferment it in the bottle, up to {number_text(pressure, 2)} kPa at 20 °C, and bottles for "
        "still wine are not made for pressure.",
    )


def _by_malolactic(facts: VesselFacts) -> Iterator[tuple[ReviewVerdict, str]]:
    state = facts.malolactic
    if state is None:
        yield (
            ReviewVerdict.NOT_KNOWN,
            "Whether malolactic fermentation is over is not in the journal: have malic acid tested, and write it down "
            "(leeside enter lot).",
        )
    elif state in _AWAITED:
        yield (
            ReviewVerdict.DO_NOT,
            f"Malolactic fermentation is {state}: it would go on in the bottle. Each g/L of malic acid gives "
            f"{_CO2_PER_MALIC:g} g/L of carbon dioxide.",
        )
    elif state == "complete":
        yield ReviewVerdict.IN_ORDER, "Malolactic fermentation is complete."
    else:
        yield _by_prevented(facts)


def _by_prevented(facts: VesselFacts) -> tuple[ReviewVerdict, str]:
    """Malic acid is still there: what keeps bacteria from it is SO2, or a filter."""
    style = None if facts.contents.style is None else Style(facts.contents.style)
    target = style_target(style, Stage.BOTTLING)
    so2 = facts.so2
    enough = (
        so2 is not None
        and so2.acidity is not None
        and target.pk.fraction(so2.acidity.ph) * so2.estimate.free_mg_l >= target.molecular_low_mg_l
    )
    held = "Malolactic fermentation was prevented, so its malic acid is still there"
    if enough:
        return ReviewVerdict.IN_ORDER, f"{held}; the molecular SO2 holds bacteria back."
    return (
        ReviewVerdict.TAKE_CARE,
        f"{held}: bacteria can start in the bottle unless molecular SO2 is at least {target.molecular_low_mg_l:g} mg/L "
        "or the wine is filtered through 0.45 µm.",
    )
