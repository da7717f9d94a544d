"""The places whose judgements wait for a turn, and which of them it takes. Pure.

A judge answers for all its places at once. A turn takes some of them, so that it stays short; the next one follows at
once. A place is taken whole: limits at one place suppress one another, so the same turn must see all that is new there.
"""

from __future__ import annotations

__all__ = ["JudgementQueue"]

from collections.abc import Collection
from itertools import islice
from typing import Final

# The rest of each turn is for the places that have waited longest, so that urgent ones never keep them waiting for
# ever. This project's choice.
_URGENT_SHARE: Final = 0.75


class JudgementQueue:
    """The places in the order in which they came. One that comes again while it waits keeps its place in the row."""

    def __init__(self) -> None:
        # Of each place the last answer that was taken up.
        self._after: dict[str, int] = {}
        self._urgent: dict[str, None] = {}

    def __len__(self) -> int:
        return len(self._after)

    def put(self, places: Collection[str], urgent: Collection[str], after: int) -> None:
        """Let places wait. urgent: those of them that go first; after: the answer before the one that names them."""
        for place in places:
            self._after.setdefault(place, after)
        self._urgent |= dict.fromkeys(urgent)

    def first(self, most: int) -> list[str]:
        """Give the places that the next turn takes, at most so many (1 or more): urgent ones, but for a share that goes
        to those that have waited longest.
        """
        chosen = dict.fromkeys(islice(self._urgent, int(_URGENT_SHARE * most)))
        others = (place for place in self._after if place not in chosen)
        return [*chosen, *islice(others, most - len(chosen))]

    def after(self, places: Collection[str]) -> int:
        """Give the last answer that was taken up of all these places."""
        return min((self._after[place] for place in places), default=0)

    def remove(self, places: Collection[str]) -> None:
        """Forget places that a turn has taken."""
        for place in places:
            self._after.pop(place, None)
            self._urgent.pop(place, None)
