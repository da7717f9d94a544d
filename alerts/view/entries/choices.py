"""What there is to choose from where an entry asks for a vessel, a lot, a bottle of titrant or a cylinder."""

from __future__ import annotations

__all__ = ["Candidate", "choices"]

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Final, NamedTuple

from alerts.view.vessel_contents import contents_line
from ingest.journal.answers import Clock
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds import body_words


class Candidate(NamedTuple):
    """One thing that can answer a question. id: the answer; known: what is known of it, "" for nothing."""

    id: str
    known: str = ""

    @property
    def line(self) -> str:
        """Both in a line."""
        return f"{self.id}: {self.known}"


def choices(question: str, context: EntryContext, clock: Clock) -> list[Candidate]:
    """List the things that can answer a question, with what is known of each; [] for other questions."""
    find = _LISTS.get(question)
    return [] if find is None else find(context, clock)


def _vessels(context: EntryContext, clock: Clock) -> list[Candidate]:
    """Each vessel of the cellar file with what it holds at the time of the entry."""
    site = context.cellar.site
    return [
        Candidate(vessel.id, contents_line(held, site.zone, site.units, clock.now_ms))
        for vessel in context.cellar.vessel
        if (held := context.contents.get(vessel.id)) is not None
    ]


def _lots(context: EntryContext, clock: Clock) -> list[Candidate]:
    """Each lot with what is said of it, and the vessels that it is in."""
    found = []
    for lot in context.lots.names:
        body = context.lots.of(lot, clock.now_ms)
        there = [held.vessel for held in context.contents.values() if any(part.lot == lot for part in held.lots)]
        where = f"; in {', '.join(there)}" if there else ""
        found.append(Candidate(lot, f"{'' if body is None else body_words(body, lot)}{where}"))
    return found


def _bottles(context: EntryContext, clock: Clock) -> list[Candidate]:
    """Each bottle of titrant with its strength, and when that was found."""
    found = []
    for name in sorted(context.bottles.there):
        bottle = context.bottles.there[name]
        since = ""
        if bottle.standardised_ms is not None:
            since = f", standardised {_day(bottle.standardised_ms, clock)}"
        elif bottle.opened_ms is not None:
            since = f", opened {_day(bottle.opened_ms, clock)}"
        found.append(Candidate(name, body_words(bottle).removeprefix(f"{name}: ") + since))
    return found


def _day(at_ms: int, clock: Clock) -> str:
    return f"{datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(clock.zone):%Y-%m-%d}"


def _cylinders(context: EntryContext, _: Clock) -> list[Candidate]:
    return [Candidate(cylinder.id, cylinder.gas) for cylinder in context.cellar.cylinder]


def _rooms(context: EntryContext, _: Clock) -> list[Candidate]:
    return [Candidate(room.id) for room in context.cellar.room]


_LISTS: Final[Mapping[str, Callable[[EntryContext, Clock], list[Candidate]]]] = {
    "vessel": _vessels,
    "from": _vessels,
    "to": _vessels,
    "emptied": _vessels,
    "lot": _lots,
    "titrant": _bottles,
    "cylinder": _cylinders,
    "room": _rooms,
}
