"""What there is to choose from where an entry asks for a vessel, a lot, a bottle of titrant or a cylinder."""

from __future__ import annotations

__all__ = ["choices"]

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Final

from alerts.view.vessel_contents import contents_line
from ingest.journal.answers import Clock
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds import body_words


def choices(question: str, context: EntryContext, clock: Clock) -> list[str]:
    """Give a line for each thing that can answer a question, with what is known of it; [] for other questions."""
    lines = _LISTS.get(question)
    return [] if lines is None else lines(context, clock)


def _vessels(context: EntryContext, clock: Clock) -> list[str]:
    """Each vessel of the cellar file with what it holds at the time of the entry."""
    cellar = context.cellar
    return [
        f"  {vessel.id}: {contents_line(held, cellar.site.zone, cellar.site.units, clock.now_ms)}"
        for vessel in cellar.vessel
        if (held := context.contents.get(vessel.id)) is not None
    ]


def _lots(context: EntryContext, clock: Clock) -> list[str]:
    """Each lot with what is said of it, and the vessels that it is in."""
    lines = []
    for lot in context.lots.names:
        body = context.lots.of(lot, clock.now_ms)
        there = [held.vessel for held in context.contents.values() if any(part.lot == lot for part in held.lots)]
        where = f"; in {', '.join(there)}" if there else ""
        lines.append(f"  {lot}: {'' if body is None else body_words(body, lot)}{where}")
    return lines


def _bottles(context: EntryContext, clock: Clock) -> list[str]:
    """Each bottle of titrant with its strength, and when that was found."""
    lines = []
    for name in sorted(context.bottles.there):
        bottle = context.bottles.there[name]
        found = ""
        if bottle.standardised_ms is not None:
            found = f", standardised {_day(bottle.standardised_ms, clock)}"
        elif bottle.opened_ms is not None:
            found = f", opened {_day(bottle.opened_ms, clock)}"
        lines.append(f"  {body_words(bottle)}{found}")
    return lines


def _day(at_ms: int, clock: Clock) -> str:
    return f"{datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(clock.zone):%Y-%m-%d}"


def _cylinders(context: EntryContext, _: Clock) -> list[str]:
    return [f"  {cylinder.id}: {cylinder.gas}" for cylinder in context.cellar.cylinder]


_LISTS: Final[Mapping[str, Callable[[EntryContext, Clock], list[str]]]] = {
    "vessel": _vessels,
    "from": _vessels,
    "to": _vessels,
    "lot": _lots,
    "titrant": _bottles,
    "cylinder": _cylinders,
}
