"""Free, molecular and total SO2 before the wine is moved, and whether to titrate first."""

from __future__ import annotations

__all__ = ["so2_section", "titrate_first"]

from collections.abc import Iterator
from typing import Final

from alerts.review.section import ReviewSection, ReviewVerdict, worse_of
from alerts.review.vessel_facts import VesselFacts
from alerts.so2.vessel_dose import STALE_MS
from alerts.so2.vessel_so2 import VesselSo2
from alerts.view.format import age, with_capital
from alerts.view.so2.so2_lines import so2_json, so2_line, so2_lines
from alerts.view.so2.total_so2_lines import total_so2_json, total_so2_lines
from alerts.wine.targets import Stage, style_target
from ingest.journal.titration import Style

_DAY_MS: Final = 86_400_000
# Before a bottling a titration counts as fresh for so long (common practice, no source: shortly before).
FRESH_MS: Final = 7 * _DAY_MS
_NAMES: Final = {"molecular_so2": "molecular", "free_so2": "free"}


def so2_section(facts: VesselFacts, *, bottling: bool) -> ReviewSection:
    """Show what SO2 there is, and judge whether it is known well enough; before a bottling, whether it is enough."""
    so2, total = facts.so2, facts.total
    total_lines = [] if total is None else total_so2_lines(total, facts.zone)
    numbers: dict[str, object] = {
        "titrate_first": None,
        "titrate_because": [],
        "so2": None if so2 is None else so2_json(so2, facts.zone),
        "total_so2": None if total is None else total_so2_json(total),
    }
    if so2 is None:
        reason = with_capital(facts.why_no_so2) or f"Nothing is known of the SO2 in {facts.vessel}"
        return ReviewSection("so2", "SO2", ReviewVerdict.NOT_KNOWN, f"{reason}.", tuple(total_lines), numbers)
    because = [*titrate_first(so2, STALE_MS if not bottling else FRESH_MS)]
    if bottling:
        because += _total_first(facts)
    numbers |= {"titrate_first": bool(because), "titrate_because": because}
    titration = so2.last_titration
    numbers["titration_age_h"] = None if titration is None else round((so2.at_ms - titration.at_ms) / 3_600_000, 1)
    verdict = ReviewVerdict.TAKE_CARE if because else ReviewVerdict.IN_ORDER
    reasons = [f"{with_capital(so2_line(so2, facts.zone))}."]
    if because:
        reasons.append(f"Titrate first: {'; '.join(because)}.")
    elif titration is not None:
        what = "free and total SO2" if bottling else "free SO2"
        reasons.append(
            f"No titration is needed first: the last one is {age(so2.at_ms - titration.at_ms)} old ({what})."
        )
    for judged, why in (*_too_low(so2), *(_for_bottling(facts, so2) if bottling else ())):
        verdict = worse_of(verdict, judged)
        reasons.append(why)
    if so2.acidity is None:
        verdict = worse_of(verdict, ReviewVerdict.NOT_KNOWN)
        reasons.append("Molecular SO2 is not known without a pH: measure it (leeside enter measurement).")
    lines = [*so2_lines(so2, facts.zone)[1:], *total_lines]
    return ReviewSection("so2", "SO2", verdict, " ".join(reasons), tuple(dict.fromkeys(lines)), numbers)


def titrate_first(so2: VesselSo2, fresh_ms: int) -> Iterator[str]:
    """List why free SO2 is to be titrated before the wine is moved; fresh_ms: how old a titration may be."""
    titration = so2.last_titration
    if titration is None:
        yield "nobody has titrated free SO2 of this wine"
        return
    age_ms = so2.at_ms - titration.at_ms
    if age_ms > fresh_ms:
        yield f"the last titration is {age(age_ms)} old"
    if "addition" in so2.since_then:
        yield "SO2 was added since the last titration"
    if "first-filling" in so2.since_then:
        yield "the wine was blended since the last titration"
    if age_ms <= FRESH_MS:
        return  # another one would hardly say more
    found = so2.estimate
    for limit in so2.limits:
        low, high = (
            (found.molecular_low_80_mg_l, found.molecular_high_80_mg_l)
            if limit.quantity == "molecular_so2"
            else (found.free_low_80_mg_l, found.free_high_80_mg_l)
        )
        if low is not None and high is not None and low < limit.low_mg_l < high:
            yield (
                f"whether it is below its low limit of {limit.low_mg_l:g} mg/L {_NAMES.get(limit.quantity, '')} cannot "
                "be told"
            )


def _total_first(facts: VesselFacts) -> Iterator[str]:
    """Why the total is to be titrated too: the law counts it."""
    total = facts.total
    if total is None or total.found is None:
        yield "nobody has titrated total SO2 of this wine"
    elif facts.at_ms - total.found.at_ms > FRESH_MS:
        yield f"the last titration of total SO2 is {age(facts.at_ms - total.found.at_ms)} old"
    elif "addition" in total.since_then:
        yield "SO2 was added since total SO2 was titrated"


def _too_low(so2: VesselSo2) -> Iterator[tuple[ReviewVerdict, str]]:
    below = so2.estimate.below_limit
    if below is not None and below.median_ms is not None and below.median_ms <= so2.at_ms:
        limits = " and ".join(f"{limit.low_mg_l:g} mg/L {_NAMES.get(limit.quantity, '')}" for limit in so2.limits)
        yield ReviewVerdict.TAKE_CARE, f"It is probably below its low limit of {limits}."


def _for_bottling(facts: VesselFacts, so2: VesselSo2) -> Iterator[tuple[ReviewVerdict, str]]:
    style = None if facts.contents.style is None else Style(facts.contents.style)
    target = style_target(style, Stage.BOTTLING)
    span = f"{target.molecular_low_mg_l:g} to {target.molecular_high_mg_l:g} mg/L"
    if so2.acidity is not None:
        # A target of the trade is held against a number by the trade's model.
        molecular = target.pk.fraction(so2.acidity.ph) * so2.estimate.free_mg_l
        if molecular < target.molecular_low_mg_l:
            yield (
                ReviewVerdict.TAKE_CARE,
                f"For the bottle it should have {span} molecular ({target.source}): dose it first.",
            )
        else:
            yield ReviewVerdict.IN_ORDER, f"It has the {span} molecular that the bottle needs ({target.source})."
    total = facts.total
    if total is not None and total.verdict is not None:
        if total.verdict.above and total.verdict.told_apart:
            yield ReviewVerdict.DO_NOT, f"{with_capital(total.verdict.words)}: it may not be sold so; no legal advice."
        elif not total.verdict.told_apart or total.verdict.above:
            yield ReviewVerdict.TAKE_CARE, f"{with_capital(total.verdict.words)}; no legal advice."
