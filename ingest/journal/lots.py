"""What is said of each lot at a time: style, alcohol, sugar."""

from __future__ import annotations

__all__ = ["Lots"]

from bisect import bisect_right, insort
from collections.abc import Iterable

from ingest.journal.entry import Entry
from ingest.journal.treatments import LotBody


class Lots:
    """The entries on lots. Before the first entry on a lot, that one holds: a wine has a style before it is written."""

    def __init__(self, entries: Iterable[Entry] = ()) -> None:
        self._told: dict[str, list[tuple[int, int, Entry]]] = {}
        for entry in entries:
            self.add(entry)

    def add(self, entry: Entry) -> None:
        """Take an entry; those of another kind, and struck ones, are passed over."""
        if entry.kind == "lot" and entry.lot is not None and entry.struck is None:
            insort(self._told.setdefault(entry.lot, []), (entry.at_ms, entry.id, entry))

    def remove(self, entry_id: int) -> None:
        """Forget an entry that was struck."""
        for lot, told in list(self._told.items()):
            self._told[lot] = [one for one in told if one[1] != entry_id]
            if not self._told[lot]:
                del self._told[lot]

    def __contains__(self, lot: object) -> bool:
        return lot in self._told

    @property
    def names(self) -> tuple[str, ...]:
        """Every lot that an entry tells of."""
        return tuple(sorted(self._told))

    def of(self, lot: str, at_ms: int) -> LotBody | None:
        """What is said of a lot at a time (UTC ms), None if no entry tells of it."""
        told = self._told.get(lot)
        if told is None:
            return None
        index = bisect_right(told, (at_ms, float("inf"))) - 1
        body = told[max(index, 0)][2].body
        return body if isinstance(body, LotBody) else None
