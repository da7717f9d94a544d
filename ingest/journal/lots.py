"""What entries of kind "lot" say of each lot at a time."""

from __future__ import annotations

__all__ = ["LOT_ENTRY", "LOT_FACTS", "LotBody", "Lots"]

from bisect import bisect_right, insort
from collections.abc import Iterable
from itertools import accumulate
from typing import Annotated, Final, Literal

from pydantic import Field

from ingest.journal.body import Amount, Body, Percent, Words
from ingest.journal.entry import Entry

# The kind of these entries.
LOT_ENTRY: Final = "lot"
# What a later entry on a lot need not say again.
LOT_FACTS: Final = ("name", "style", "vintage", "alcohol_percent_vol", "sugar_g_l", "malolactic")


class LotBody(Body):
    """A wine. A later entry of the same lot says what holds from then on; what it leaves out stays."""

    name: Words
    style: Literal["white", "rosé", "red", "sweet"]
    vintage: Annotated[int, Field(ge=1800, le=2200)] | None = None
    alcohol_percent_vol: Percent | None = None
    sugar_g_l: Amount | None = None
    malolactic: Literal["wanted", "under way", "complete", "prevented"] | None = None
    remark: Words | None = None


class Lots:
    """The entries on lots. A later entry keeps what it does not say. Before the first entry on a lot, that one holds: a
    wine has a style before it is written.
    """

    def __init__(self, entries: Iterable[Entry] = ()) -> None:
        self._entries: dict[str, list[tuple[int, int, int, LotBody]]] = {}
        # What holds from each of these entries on.
        self._holding: dict[str, list[LotBody]] = {}
        for entry in entries:
            self.add(entry)

    def add(self, entry: Entry) -> None:
        """Take an entry; those of another kind, and struck ones, are passed over."""
        # The name first: to ask a model whether it is a body's takes ten times as long.
        if entry.kind != LOT_ENTRY or entry.lot is None or entry.struck is not None:
            return
        if isinstance(entry.body, LotBody):
            rows = self._entries.setdefault(entry.lot, [])
            insort(rows, (*entry.key, entry.id, entry.body), key=lambda row: row[:2])
            self._holding[entry.lot] = list(accumulate((row[3] for row in rows), _later))

    def remove(self, entry_id: int) -> None:
        """Forget an entry that was struck."""
        for lot, rows in list(self._entries.items()):
            self._entries[lot] = [row for row in rows if row[2] != entry_id]
            if len(self._entries[lot]) < len(rows):
                self._holding[lot] = list(accumulate((row[3] for row in self._entries[lot]), _later))
            if not self._entries[lot]:
                del self._entries[lot], self._holding[lot]

    def __contains__(self, lot: object) -> bool:
        return lot in self._entries

    @property
    def names(self) -> tuple[str, ...]:
        """Every lot that an entry introduces."""
        return tuple(sorted(self._entries))

    def held(self, lot: str, at_ms: int) -> LotBody | None:
        """What an entry of that time (UTC ms) or before says of a lot, None if there is none so early."""
        rows = self._entries.get(lot)
        return self.of(lot, at_ms) if rows and rows[0][0] <= at_ms else None

    def of(self, lot: str, at_ms: int) -> LotBody | None:
        """What is said of a lot at a time (UTC ms), None if no entry introduces it."""
        rows = self._entries.get(lot)
        if rows is None:
            return None
        index = bisect_right(rows, at_ms, key=lambda row: row[0]) - 1
        return self._holding[lot][max(index, 0)]


def _later(before: LotBody, entry: LotBody) -> LotBody:
    """What holds from an entry on."""
    return entry.model_copy(update={fact: getattr(before, fact) for fact in LOT_FACTS if getattr(entry, fact) is None})
