"""What people saw of the wine: whether it has cleared since the last inspection, its lees, a film."""

from __future__ import annotations

__all__ = ["clarity_section"]

from collections.abc import Iterator
from typing import Final

from alerts.review.section import ReviewSection, ReviewVerdict, worse_of
from alerts.review.vessel_facts import VesselFacts, WineSeen
from alerts.view.due_lines import day_text
from alerts.view.format import counted
from ingest.times import iso_utc

_DAY_MS: Final = 86_400_000
# What was seen longer ago says little of now (common practice, no source: carboys are looked at monthly).
_OLD_DAYS: Final = 31
# From the dullest to the brightest.
_CLARITY: Final = ("cloudy", "hazy", "clear", "bright")
# Turbidity up to which a wine looks bright, and above which it looks cloudy [NTU], by style (Ribéreau-Gayon, Handbook
# of Enology, volume 2, from memory).
_NTU: Final = {"white": (1.1, 4.4), "sweet": (1.1, 4.4), "rosé": (1.4, 5.8), "red": (2.0, 8.0)}
_LOOK: Final = (
    "Look with a torch at clarity and lees, smell it, and write it down: leeside enter inspection FILE --vessel {} "
    "--clarity clear --lees '5 mm' --film no."
)


def clarity_section(facts: VesselFacts, *, bottling: bool) -> ReviewSection:
    """Judge what was seen last, and what changed since the time before."""
    seen, at_ms = facts.seen, facts.at_ms
    title = "Clarity and lees"
    numbers: dict[str, object] = {"inspections": [_json(each) for each in seen[-5:]]}
    if not seen:
        reason = (
            f"Nobody wrote down how the wine in {facts.vessel} looks since it came in. {_LOOK.format(facts.vessel)}"
        )
        return ReviewSection("clarity", title, ReviewVerdict.NOT_KNOWN, reason, (), numbers)
    last = seen[-1]
    days = max(0, at_ms - last.at_ms) // _DAY_MS
    verdict, reasons = ReviewVerdict.IN_ORDER, [f"{_seen_words(facts, last)}."]
    before = next((each for each in reversed(seen[:-1]) if _change(each, last)), None)
    if before is not None:
        changes = _change(before, last)
        reasons.append(f"Since {day_text(before.at_ms, facts.zone, at_ms)}: {', '.join(changes)}.")
    numbers |= {"days": days, "look": None, "changes": [] if before is None else _change(before, last)}
    for judged, why in _judged(facts, last, bottling=bottling):
        verdict = worse_of(verdict, judged)
        reasons.append(why)
    look = _look(facts, last)
    numbers["look"] = look
    if look is None:
        verdict = worse_of(verdict, ReviewVerdict.NOT_KNOWN)
        reasons.append("Its clarity was not written down: look again.")
    if days > _OLD_DAYS:
        verdict = worse_of(verdict, ReviewVerdict.NOT_KNOWN)
        reasons.append(f"That is {counted(days, 'day')} ago: look again.")
    lines = [_seen_words(facts, each) for each in reversed(seen[-4:-1])]
    if last.lees_mm:
        lines.append(
            f"Leave the {last.lees_mm:g} mm of lees behind: draw from above them, and stop when they begin to move"
        )
    return ReviewSection("clarity", title, verdict, " ".join(reasons), tuple(lines), numbers)


def _judged(facts: VesselFacts, last: WineSeen, *, bottling: bool) -> Iterator[tuple[ReviewVerdict, str]]:
    look = _look(facts, last)
    if last.film:
        yield (
            ReviewVerdict.DO_NOT if bottling else ReviewVerdict.TAKE_CARE,
            "A film is of yeasts or bacteria that live on air: find out which before it is bottled."
            if bottling
            else "A film lives on air: draw from below it, leave it behind, and find out how air came in.",
        )
    if bottling and last.lees_mm:
        yield (
            ReviewVerdict.TAKE_CARE,
            "Lees lie under it, and what is stirred up ends in the bottle: rack it off them first, or draw from well "
            "above.",
        )
    if look == "cloudy":
        yield (
            ReviewVerdict.DO_NOT if bottling else ReviewVerdict.TAKE_CARE,
            "Cloudy wine throws sediment in the bottle, and may still ferment: let it settle or fine it first."
            if bottling
            else "What has not settled comes along: wait, unless it is to come off its gross lees.",
        )
    elif look == "hazy":
        yield (
            ReviewVerdict.TAKE_CARE,
            "Hazy wine throws sediment in the bottle: let it settle, fine or filter it first."
            if bottling
            else "Hazy wine has not settled: what floats comes along.",
        )


def _look(facts: VesselFacts, last: WineSeen) -> str | None:
    """The clarity as it was called, else by its turbidity."""
    if last.clarity is not None:
        return last.clarity
    if last.turbidity_ntu is None:
        return None
    bright, cloudy = _NTU.get(facts.contents.style or "white", _NTU["white"])
    if last.turbidity_ntu <= bright:
        return "bright"
    return "cloudy" if last.turbidity_ntu > cloudy else "clear"


def _change(before: WineSeen, last: WineSeen) -> list[str]:
    """What is another thing than it was then."""
    changes = []
    if before.clarity is not None and last.clarity is not None and before.clarity != last.clarity:
        better = _CLARITY.index(last.clarity) > _CLARITY.index(before.clarity)
        changes.append(f"{'cleared' if better else 'duller'}, from {before.clarity} to {last.clarity}")
    if before.turbidity_ntu is not None and last.turbidity_ntu is not None:
        changes.append(f"turbidity from {before.turbidity_ntu:g} to {last.turbidity_ntu:g} NTU")
    if before.lees_mm is not None and last.lees_mm is not None and before.lees_mm != last.lees_mm:
        changes.append(f"lees from {before.lees_mm:g} to {last.lees_mm:g} mm")
    if before.film is not None and last.film is not None and before.film != last.film:
        changes.append("a film has come" if last.film else "the film is gone")
    return changes


def _seen_words(facts: VesselFacts, seen: WineSeen) -> str:
    parts = []
    if seen.clarity is not None:
        parts.append(seen.clarity)
    if seen.turbidity_ntu is not None:
        parts.append(f"{seen.turbidity_ntu:g} NTU")
    if seen.lees_mm is not None:
        parts.append(f"{seen.lees_mm:g} mm of lees" if seen.lees_mm else "no lees")
    if seen.film is not None:
        parts.append("a film" if seen.film else "no film")
    if seen.smell:
        parts.append(f"smells of {seen.smell}")
    day = day_text(seen.at_ms, facts.zone, facts.at_ms)
    return f"On {day}: {', '.join(parts) or 'looked at, nothing said of clarity or lees'}"


def _json(seen: WineSeen) -> dict[str, object]:
    return {
        "at": iso_utc(seen.at_ms),
        "clarity": seen.clarity,
        "turbidity_ntu": seen.turbidity_ntu,
        "lees_mm": seen.lees_mm,
        "smell": seen.smell or None,
        "film": seen.film,
    }
