"""The rackings of a journal that were begun and not finished, and the notes about them. Pure."""

from __future__ import annotations

__all__ = ["open_racking_notes", "unfinished"]

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from ingest.journal.entry import Draft, Entry
from ingest.journal.kinds.racking import RackingBody
from ingest.journal.open_rackings import OpenRacking


def unfinished(entries: Iterable[Entry], name_now: Callable[[str, int], str]) -> list[OpenRacking]:
    """Find the rackings that were begun and that no other entry finishes, newest first; struck entries do not count.

    name_now: what a vessel is called now, by its name in an entry that was written at a time (UTC ms).
    """
    begun: list[tuple[Entry, RackingBody]] = []
    finished: set[int | None] = set()
    for entry in entries:
        if not isinstance(entry.body, RackingBody) or entry.struck is not None:
            continue
        if entry.body.stage == "begun":
            begun.append((entry, entry.body))
        else:
            finished.add(entry.body.begun)
    begun.sort(key=lambda pair: pair[0].key, reverse=True)
    return [
        _open_racking(entry, body, name_now)
        for entry, body in begun
        if finished.isdisjoint({entry.id, entry.in_place_of or entry.id})
    ]


def _open_racking(entry: Entry, body: RackingBody, name_now: Callable[[str, int], str]) -> OpenRacking:
    def names(places: Iterable[str]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name_now(place, entry.written_ms) for place in places))

    sources = names(drawn.vessel for drawn in body.sources)
    return OpenRacking(entry.id, entry.at_ms, entry.who, sources, names(body.places))


def open_racking_notes(draft: Draft, begun: Sequence[OpenRacking], zone: ZoneInfo) -> tuple[str, ...]:
    """Say that a vessel of a draft, of any kind, is in a racking that is not finished; begun: those, newest first."""
    finishes = draft.body.begun if isinstance(draft.body, RackingBody) else None
    named = set(draft.places)
    notes = []
    for racking in begun:
        if racking.entry != finishes and racking.at_ms <= draft.at_ms and named & set(racking.vessels):
            at = datetime.fromtimestamp(racking.at_ms / 1000, UTC).astimezone(zone)
            notes.append(
                f"{racking.name}, begun {at:%Y-%m-%d %H:%M}, is not finished: write down what came of it, or strike "
                f"no. {racking.entry} if nothing did"
            )
    return tuple(notes)
