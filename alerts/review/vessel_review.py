"""A whole review before a racking or a bottling: the wine, then gas and rooms, alarms, and the work. Pure."""

from __future__ import annotations

__all__ = ["bottling_review", "racking_review"]

from dataclasses import replace

from alerts.review.blanket_care import blanket_section
from alerts.review.bottles import bottles_section, expected_bottles
from alerts.review.bottling_checklist import bottling_cautions, bottling_checklist
from alerts.review.bottling_gas import bottling_gas
from alerts.review.clarity import clarity_section
from alerts.review.dissolved_gas import dissolved_gas_section
from alerts.review.dose_after import bottling_dose_section, racking_dose_section
from alerts.review.fit import moved_volume
from alerts.review.open_alarms import alarms_section
from alerts.review.racking_facts import RackingFacts, RackingWish
from alerts.review.racking_gas import racking_gas
from alerts.review.refermentation import refermentation_section
from alerts.review.rest import rest_section
from alerts.review.section import Review, ReviewSection, ReviewVerdict
from alerts.review.so2_now import so2_section
from alerts.review.steadiness import steadiness_section
from alerts.review.vessel_facts import BottlingWish, VesselFacts
from alerts.wine.adding import CAUTIONS


def racking_review(facts: VesselFacts, gas: RackingFacts, wish: RackingWish, file: str) -> Review:
    """Review a racking. file: the cellar file as a command names it.

    Raises ReviewRefused where there is no wine, and OutOfRange for what is wished.
    """
    moving = racking_gas(gas, wish, file)
    so2 = so2_section(facts, bottling=False)
    is_first = bool(so2.numbers.get("titrate_first"))
    dose = _racking_dose(facts, gas, wish, is_first, file)
    sections = (
        rest_section(facts, bottling=False),
        clarity_section(facts, bottling=False),
        steadiness_section(facts),
        blanket_section(facts),
        so2,
        *moving.sections,
        dose,
        alarms_section(facts),
    )
    steps = list(moving.checklist)
    if steps and is_first:
        steps.insert(0, f"Days before: titrate free SO2 of {gas.source.id}, write it down, and review again.")
    command = dose.numbers.get("enter")
    if steps and command:
        steps.append(f"After that titration add what is missing; the dose above is written down by: {command}")
    return replace(
        moving,
        sections=sections,
        checklist=() if _is_refused(sections) else tuple(steps),
        cautions=(*moving.cautions, *(CAUTIONS if command else ())),
    )


def bottling_review(
    facts: VesselFacts, gas: RackingFacts, wish: RackingWish, bottling: BottlingWish, file: str
) -> Review:
    """Review a bottling. Raises ReviewRefused where there is no wine, and OutOfRange for what is wished."""
    moved_l = moved_volume(gas.source, wish)
    bottles = expected_bottles(moved_l or 0.0, facts.contents.u_volume_l or 0.0, bottling.bottle_l)
    moving, *others = bottling_gas(gas, wish, bottles if moved_l is not None else ())
    so2 = so2_section(facts, bottling=True)
    is_first = bool(so2.numbers.get("titrate_first"))
    dose = bottling_dose_section(facts, bottling, is_first, file)
    pressure = gas.source.pressure_kpa
    sections = (
        rest_section(facts, bottling=True),
        clarity_section(facts, bottling=True),
        steadiness_section(facts),
        blanket_section(facts),
        so2,
        dose,
        refermentation_section(facts),
        dissolved_gas_section(facts, None if pressure is None else pressure.value, gas.temperature_c),
        bottles_section(facts, moved_l, bottling),
        moving,
        *others,
        alarms_section(facts),
    )
    command = str(dose.numbers.get("enter") or "")
    steps = bottling_checklist(
        gas, bottles if moved_l is not None else (), titrate=is_first, dose_command=command, file=file
    )
    return Review(
        vessel=gas.source.id,
        to="",
        at_ms=gas.at_ms,
        sections=sections,
        checklist=() if _is_refused(sections) else tuple(steps),
        cautions=tuple(bottling_cautions(gas, dosed=bool(command))),
        purpose="bottling",
    )


def _racking_dose(facts: VesselFacts, gas: RackingFacts, wish: RackingWish, is_first: bool, file: str) -> ReviewSection:
    receiver = gas.receiver
    if receiver is not None and receiver.holds_wine:
        reason = (
            f"This makes a blend in {receiver.id}, and what SO2 it will have is not known: titrate it a day later, "
            f"then ask leeside dose {receiver.id}."
        )
        return ReviewSection(
            "dose", "Dose after", ReviewVerdict.NOT_KNOWN, reason, numbers={"dose": None, "enter": None}
        )
    moved_l = moved_volume(gas.source, wish)
    to = "" if receiver is None else receiver.id
    capacity_l = None if receiver is None else receiver.capacity_l
    return racking_dose_section(facts, to, moved_l, capacity_l, is_first, file)


def _is_refused(sections: tuple[ReviewSection, ...]) -> bool:
    return any(section.verdict is ReviewVerdict.DO_NOT for section in sections)
