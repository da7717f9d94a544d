"""What falls short, as lines for people and as objects for programs."""

from __future__ import annotations

__all__ = ["shortfall_json", "shortfall_lines", "when_text"]

from datetime import tzinfo

from alerts.absence.shortfall import Shortfall
from alerts.view.due_lines import day_text
from alerts.view.format import with_capital
from ingest.times import iso_utc_known


def shortfall_lines(shortfall: Shortfall, zone: tzinfo, now_ms: int) -> list[str]:
    """Say when something falls short, what to do before, and what the helper can do then."""
    when = when_text(shortfall, zone, now_ms)
    lines = [
        f"{with_capital(shortfall.words)}{f', {when}' if when else ''}.",
        f"  before you leave: {shortfall.before}",
    ]
    if shortfall.helper:
        lines.append(f"  your helper then: {shortfall.helper}")
    return lines


def when_text(shortfall: Shortfall, zone: tzinfo, now_ms: int) -> str:
    """Say when it may happen: "on 3 Dec", "between 3 and 9 Dec", "from 3 Dec on"; "" where no time can be given."""
    if shortfall.earliest_ms is None:
        return ""
    first = "today" if shortfall.earliest_ms <= now_ms else day_text(shortfall.earliest_ms, zone, now_ms)
    if shortfall.latest_ms is None:
        return "perhaps from today on" if first == "today" else f"perhaps from {first} on"
    last = "today" if shortfall.latest_ms <= now_ms else day_text(shortfall.latest_ms, zone, now_ms)
    if last == first:
        return first if first == "today" else f"on {first}"
    return f"between {first} and {last}"


def shortfall_json(shortfall: Shortfall) -> dict[str, object]:
    """Give the same as an object; null for what is not known."""
    return {
        "kind": shortfall.kind.value,
        "place": shortfall.place,
        "lot": shortfall.lot or None,
        "what": shortfall.words,
        "earliest": iso_utc_known(shortfall.earliest_ms),
        "latest": iso_utc_known(shortfall.latest_ms),
        "before": shortfall.before,
        "helper": shortfall.helper or None,
    }
