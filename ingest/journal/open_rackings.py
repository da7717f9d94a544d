"""Rackings that were begun and not finished: which they are, and for how long one counts as under way. Pure."""

from __future__ import annotations

__all__ = ["LONGEST_RACKING_MS", "OpenRacking", "finished_by", "unfinished"]

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from ingest.journal.entry import Entry, places_of
from ingest.journal.movements import RackingBody

# What takes longer was forgotten, not slow: an afternoon's work (common practice, no source).
LONGEST_RACKING_MS: Final = 6 * 3_600_000
# What was begun longer ago than this is not what an entry of today finishes (this project's choice).
_FINISHED_WITHIN_MS: Final = 7 * 86_400_000


@dataclass(frozen=True, slots=True)
class OpenRacking:
    """A racking that was begun and not finished.

    entry: the id of the entry that begins it; at_ms: when it began (UTC ms); sources: the vessels that it is from;
    vessels: these and those that it goes into, as far as they were named. Vessels are called as they are now.
    """

    entry: int
    at_ms: int
    who: str
    sources: tuple[str, ...]
    vessels: tuple[str, ...]

    def lasts(self, now_ms: int) -> bool:
        """Whether it counts as under way at a time (UTC ms); after ``LONGEST_RACKING_MS`` it counts as forgotten."""
        return self.at_ms <= now_ms < self.at_ms + LONGEST_RACKING_MS

    @property
    def name(self) -> str:
        """As messages call it."""
        return f"racking no. {self.entry} from {' and '.join(self.sources)}"


def unfinished(entries: Iterable[Entry], name_now: Callable[[str, int], str]) -> list[OpenRacking]:
    """The rackings that were begun and that no other entry finishes, newest first; struck entries do not count.

    name_now: what a vessel is called now, by its name in an entry that was written at a time (UTC ms).
    """
    begun: list[Entry] = []
    finished: set[int | None] = set()
    for entry in entries:
        if not isinstance(entry.body, RackingBody) or entry.struck is not None:
            continue
        if entry.body.stage == "begun":
            begun.append(entry)
        else:
            finished.add(entry.body.begun)
    begun.sort(key=lambda entry: (entry.at_ms, entry.id), reverse=True)
    return [_underway(entry, name_now) for entry in begun if entry.id not in finished]


def _underway(entry: Entry, name_now: Callable[[str, int], str]) -> OpenRacking:
    def names(places: Iterable[str]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name_now(place, entry.written_ms) for place in places))

    sources = [drawn.vessel for drawn in entry.body.sources] if isinstance(entry.body, RackingBody) else []
    return OpenRacking(entry.id, entry.at_ms, entry.who, names(sources), names(places_of(entry.place, entry.body)))


def finished_by(begun: Sequence[OpenRacking], sources: Collection[str], at_ms: int) -> OpenRacking | None:
    """The racking that one from these vessels at a time (UTC ms) finishes; None if it begins and ends by itself.

    begun: newest first. One that was begun from the very same vessels goes before one that shares some of them.
    """
    names = set(sources)
    near = [one for one in begun if at_ms - _FINISHED_WITHIN_MS <= one.at_ms <= at_ms and names & set(one.sources)]
    return next((one for one in near if set(one.sources) == names), near[0] if near else None)
