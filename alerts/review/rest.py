"""How long the wine has rested since it was last racked, and what work on it is due."""

from __future__ import annotations

__all__ = ["rest_section"]

from typing import Final

from alerts.review.section import ReviewSection, ReviewVerdict, worse_of
from alerts.review.vessel_facts import VesselFacts
from alerts.view.due_lines import day_text, due_text
from alerts.view.format import counted, days_text
from alerts.view.racking_lines import racking_line
from ingest.times import iso_utc_known

_DAY_MS: Final = 86_400_000
# Each racking costs oxygen: about 1 mg/L with care, 3 without and 5 with contact with air (Oenopedia). A second one so
# soon needs a reason (a working default, no source).
_SOON_DAYS: Final = 30
# Work that falls due within this is worth a line.
_AHEAD_MS: Final = 14 * _DAY_MS


def rest_section(facts: VesselFacts, *, bottling: bool) -> ReviewSection:
    """Say since when the wine rests and what it is due; racking it again soon asks for care."""
    contents, at_ms, zone = facts.contents, facts.at_ms, facts.zone
    racked_ms, since_ms = contents.last_racking_ms, facts.since_ms
    days = None if since_ms is None else max(0, at_ms - since_ms) // _DAY_MS
    racking = next((each for each in facts.due if each.limit.quantity == "racking"), None)
    lines = [racking_line(each, zone, at_ms) for each in facts.begun]
    verdict = ReviewVerdict.TAKE_CARE if lines else ReviewVerdict.IN_ORDER
    if since_ms is None or days is None:
        verdict = worse_of(verdict, ReviewVerdict.NOT_KNOWN)
        reason = (
            f"The journal does not say when the wine came into {facts.vessel}: write its filling or racking down "
            "(leeside enter first-filling, leeside enter racking)."
        )
    else:
        done = "racked" if racked_ms is not None and racked_ms >= (contents.since_ms or 0) else "filled"
        when = day_text(since_ms, zone, at_ms)
        reason = f"The wine was {done} into {facts.vessel} on {when}, {counted(days, 'day')} ago."
        if racking is not None and not bottling:
            is_due = at_ms >= racking.fact.due_ms
            when = day_text(racking.fact.due_ms, zone, at_ms)
            after = days_text(racking.limit.setpoint)
            reason += f" Racking {'is due since' if is_due else 'falls due on'} {when}, {after} after it."
        if not bottling and done == "racked" and days < _SOON_DAYS:
            verdict = worse_of(verdict, ReviewVerdict.TAKE_CARE)
            reason += (
                " That is soon: each racking costs 1 to 5 mg/L of oxygen (Oenopedia), so have a reason for another one."
            )
    others = sorted((each for each in facts.due if each.limit.quantity != "racking"), key=lambda each: each.fact.due_ms)
    for each in others:
        if at_ms >= each.fact.due_ms:
            lines.append(due_text(each.limit, each.fact.due_ms, each.fact.finding, zone, at_ms))
        elif each.fact.due_ms - at_ms <= _AHEAD_MS:
            lines.append(f"{each.limit.quantity} falls due on {day_text(each.fact.due_ms, zone, at_ms)}")
    topped_ms = contents.last_topping_ms
    if topped_ms is not None and topped_ms > (since_ms or 0):
        lines.append(f"last topped up on {day_text(topped_ms, zone, at_ms)}")
    numbers: dict[str, object] = {
        "last_racking": iso_utc_known(racked_ms),
        "wine_since": iso_utc_known(contents.since_ms),
        "days": days,
        "racking_due": iso_utc_known(None if racking is None else racking.fact.due_ms),
        "due": [
            {"work": each.limit.quantity, "due": iso_utc_known(each.fact.due_ms), "is_due": at_ms >= each.fact.due_ms}
            for each in facts.due
        ],
        "begun_rackings": [each.entry for each in facts.begun],
    }
    return ReviewSection("rest", "Since the last racking", verdict, reason, tuple(lines), numbers)
