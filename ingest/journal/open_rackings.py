"""Rackings that were begun and not finished: what finishes one, and when one counts as forgotten. Pure."""

from __future__ import annotations

__all__ = ["LONGEST_RACKING_MS", "OpenRacking", "finished_by"]

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

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


def finished_by(begun: Sequence[OpenRacking], sources: Collection[str], at_ms: int) -> OpenRacking | None:
    """Find the racking that one from these vessels at a time (UTC ms) finishes; None if it begins and ends by itself.

    begun: newest first. One that was begun from the very same vessels goes before one that shares some of them.
    """
    names = set(sources)
    near = [
        racking
        for racking in begun
        if at_ms - _FINISHED_WITHIN_MS <= racking.at_ms <= at_ms and names & set(racking.sources)
    ]
    same = (racking for racking in near if set(racking.sources) == names)
    return next(same, near[0] if near else None)
