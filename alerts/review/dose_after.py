"""What to add once the wine has been moved, or before it goes into bottles: the dose with what it rests on."""

from __future__ import annotations

__all__ = ["bottling_dose_section", "bottling_oxygen_mg_l", "racking_dose_section"]

from dataclasses import replace
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.errors import DoseRefused, OutOfRange
from alerts.gas.gases import OXYGEN_G_MOL, STANDARD_L_MOL
from alerts.gas.purge import AIR_O2_PERCENT, SO2_PER_O2
from alerts.number_text import number_text
from alerts.review.amounts import milligrams
from alerts.review.section import ReviewSection, ReviewVerdict
from alerts.review.vessel_facts import BottlingWish, VesselFacts
from alerts.so2.vessel_dose import DoseWish, VesselDose, vessel_dose
from alerts.view.format import with_capital
from alerts.view.so2.dose_lines import dose_json, dose_lines, entry_command
from alerts.wine.molecular import FREE_SO2_RANGE, free_needed
from alerts.wine.targets import Stage, style_target
from ingest.journal.kinds.addition import SO2_PER_SALT
from ingest.journal.titration import Style

# What a review leaves to the checklist.
_LEFT_OUT: Final = ("how: ", "caution: ", "nothing was written", "  leeside ")
# Oxygen that filling dissolves in the wine [mg/L]: what Oenopedia gives for pumping. Single operations take up 0.5 to 8
# (a South African wine laboratory).
_FILLING_O2_MG_L: Final = 2.0
# Air under the closure of a bottle that is filled by hand [L] (common practice, no source).
_UNDER_CLOSURE_L: Final = 0.005
# mg SO2 for each mg of oxygen: for planning (common practice, no source; published are 2 to 4), and at most.
_PLANNED_PER_O2: Final = 2.5
_O2_RANGE: Final = AllowedRange("bottling oxygen", 0.0, 20.0, "mg/L", "bottling brings")


def racking_dose_section(
    facts: VesselFacts, to: str, volume_l: float | None, capacity_l: float | None, first: bool, file: str
) -> ReviewSection:
    """Work out the dose for the wine once it lies in the vessel ``to``, "" where none is named.

    volume_l: what will be moved, None where not known; first: whether a titration is needed first.
    """
    cost = (
        "the racking itself takes up about 1 mg/L of oxygen with care, 3 without contact with air and 5 with it "
        f"(Oenopedia); each mg costs up to {SO2_PER_O2:g} mg of SO2 in the weeks that follow"
    )
    wish = replace(_usual(facts), volume_l=volume_l)
    return _section(facts, wish, to, capacity_l, first, file, (cost,))


def bottling_dose_section(facts: VesselFacts, wish: BottlingWish, first: bool, file: str) -> ReviewSection:
    """Work out the dose before a bottling: for the target in the bottle, and for the oxygen that bottling brings.

    Raises OutOfRange for what is wished.
    """
    o2_mg_l = bottling_oxygen_mg_l(wish)
    allowance = _PLANNED_PER_O2 * o2_mg_l
    style = None if facts.contents.style is None else Style(facts.contents.style)
    target = style_target(style, Stage.BOTTLING)
    middle = (target.molecular_low_mg_l + target.molecular_high_mg_l) / 2.0
    free_mg_l, by = target.free_low_mg_l, f"{target.free_low_mg_l:g} mg/L free, as no pH is known"
    so2 = facts.so2
    if so2 is not None and so2.acidity is not None:
        free_mg_l = max(free_needed(middle, so2.acidity.ph, target.pk).mg_l, target.free_low_mg_l)
        at_ph = f"{free_mg_l:.0f} mg/L free at pH {so2.acidity.ph:.2f}"
        by = f"{middle:g} mg/L molecular ({target.pk.name}), which is {at_ph}"
    lines = (
        f"in the bottle: {by} ({target.source})",
        f"bottling brings about {milligrams(o2_mg_l)} mg/L of oxygen{_from_where(wish)}: it costs about "
        f"{number_text(allowance, 2)} mg/L of free SO2, and up to {number_text(SO2_PER_O2 * o2_mg_l, 2)}",
    )
    asked = replace(_usual(facts), to_free_mg_l=FREE_SO2_RANGE.nearest(float(round(free_mg_l + allowance))))
    section = _section(facts, asked, facts.vessel, facts.contents.capacity_l, first, file, lines)
    more = {"bottling_o2_mg_l": o2_mg_l, "allowance_so2_mg_l": allowance, "target_in_bottle_free_mg_l": free_mg_l}
    return replace(section, numbers={**section.numbers, **more})


def bottling_oxygen_mg_l(wish: BottlingWish) -> float:
    """Give the oxygen that bottling brings [mg/L]: what is wished, else what filling dissolves and the air under the
    closure of the smallest bottle.

        c = 2 mg/L + V_air x 0.2095 x 31.998 g/mol / 23.645 L/mol / V_bottle

    Worked example: 5 mL of air over 0.75 L: 1.4 mg, 1.9 mg/L; together 3.9 mg/L. Raises OutOfRange.
    """
    if wish.o2_mg_l is not None:
        return _O2_RANGE.checked(wish.o2_mg_l)
    air_mg = 1000.0 * _UNDER_CLOSURE_L * AIR_O2_PERCENT / 100.0 * OXYGEN_G_MOL / STANDARD_L_MOL
    return _FILLING_O2_MG_L + air_mg / min(wish.bottle_l)


def _from_where(wish: BottlingWish) -> str:
    if wish.o2_mg_l is not None:
        return ""
    return f" ({_FILLING_O2_MG_L:g} by filling, the rest as {1000.0 * _UNDER_CLOSURE_L:g} mL of air under the closure)"


def _usual(facts: VesselFacts) -> DoseWish:
    """With the salt that was used last, to the usual target."""
    return DoseWish(so2_fraction=SO2_PER_SALT[facts.salt], salt=facts.salt, stock=facts.stock)


def _section(
    facts: VesselFacts,
    wish: DoseWish,
    to: str,
    capacity_l: float | None,
    first: bool,
    file: str,
    more: tuple[str, ...],
) -> ReviewSection:
    title = "Dose before bottling" if to == facts.vessel else "Dose after"
    numbers: dict[str, object] = {"dose": None, "enter": None}
    so2 = facts.so2
    if so2 is None:
        reason = "No dose can be worked out: what SO2 the wine has is not known."
        return ReviewSection("dose", title, ReviewVerdict.NOT_KNOWN, reason, more, numbers)
    try:
        dose = vessel_dose(so2, facts.total, capacity_l, wish)
    except (DoseRefused, OutOfRange) as error:
        return ReviewSection("dose", title, ReviewVerdict.NOT_KNOWN, f"{with_capital(str(error))}.", more, numbers)
    dose = replace(dose, so2=replace(dose.so2, vessel=to or "VESSEL"))
    is_keg = facts.kind == "keg"
    lines = [line for line in dose_lines(dose, file, facts.zone, is_keg=is_keg) if not line.startswith(_LEFT_OUT)]
    verdict, reason = _judged(dose, first=first)
    numbers = {
        "dose": dose_json(dose, file, facts.zone, is_keg=is_keg),
        "enter": entry_command(dose, file) or None,
    }
    return ReviewSection("dose", title, verdict, reason, (*more, *lines[1:]), numbers)


def _judged(dose: VesselDose, *, first: bool) -> tuple[ReviewVerdict, str]:
    plan = dose.plan
    if plan is None or dose.nothing_to_add:
        reason = f"Nothing to add: the target is {dose.target.words}, and the wine is taken to have enough."
    else:
        used = dose.measured[-1]
        reason = f"Add {used.words} to {number_text(dose.volume_l, 3)} L, to reach {dose.target.words}."
    if first:
        return ReviewVerdict.TAKE_CARE, f"{reason} That rests on an estimate: titrate first, then work it out again."
    if plan is not None and plan.cut_by is not None:
        return ReviewVerdict.TAKE_CARE, f"{reason} It was cut, by {plan.cut_by.words}."
    return ReviewVerdict.IN_ORDER, reason
