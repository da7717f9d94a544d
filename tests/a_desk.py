"""A person who writes into a stored journal, for tests."""

from __future__ import annotations

__all__ = ["HOUR", "MINUTE", "Desk"]

from typing import Any

from a_store import NOW
from journal_entries import a_body

from ingest.cellar import Cellar
from ingest.journal.entry import Draft, Entry
from ingest.store import Store
from ingest.store.journal.entries import write_entry
from ingest.store.journal.stored_ledger import contents

MINUTE = 60_000
HOUR = 60 * MINUTE


class Desk:
    """A person who writes into a stored journal, by default an entry an hour."""

    def __init__(self, store: Store, cellar: Cellar) -> None:
        self.store = store
        self.cellar = cellar
        self.now = NOW

    def write(
        self,
        kind: str,
        place: str | None = None,
        lot: str | None = None,
        *,
        at: int | None = None,
        with_later: bool = False,
        **said: Any,
    ) -> Entry:
        self.now += HOUR
        draft = Draft(kind, self.now if at is None else at, "Ana", a_body(kind, **said), place, lot)
        return write_entry(self.store, draft, self.cellar, self.now, with_later=with_later)

    def free(self, place: str, mg_l: float, **more: Any) -> Entry:
        said: dict[str, Any] = {"quantity": "free", "method": "elsewhere", "so2_mg_l": mg_l, "u_so2_mg_l": 2.0}
        return self.write("titration", place, **said, **more)

    def volume(self, vessel: str) -> float | None:
        return contents(self.store, self.now)[vessel].volume_l
