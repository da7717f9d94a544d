"""A person who writes into journals in stores of their own, and brings in lines of others, for tests."""

from __future__ import annotations

__all__ = ["Desk", "NewDesk", "a_line", "empty_journals", "filled", "kept"]

import io
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import a_desk
from a_desk import HOUR, MINUTE
from a_store import NOW, declared, new_store
from journal_entries import journal_cellar

from ingest.cellar import Cellar
from ingest.exchange.entry_lines import entry_line, read_entry_lines
from ingest.journal.merging import JournalMerge, Mistake
from ingest.store import Store
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import entries, strike
from ingest.store.journal.entry_import import import_entries
from ingest.store.journal.renames import called_as_now
from ingest.store.readings.series import declare
from ingest.times import iso_utc


class Desk(a_desk.Desk):
    """The same in a store of its own, with a probe; he also brings lines in."""

    def __init__(self, store: Store, cellar: Cellar) -> None:
        super().__init__(store, cellar)
        keep_cellar_file(store, cellar.text, NOW - HOUR)
        declare(store, [declared(unit="kPa", gain=1.0)], NOW - HOUR)

    def strike(self, id: int, *, with_later: bool = False) -> None:
        self.now += MINUTE
        strike(self.store, id, "Ben", f"not no. {id}", self.now, with_later=with_later)

    def lines(self, **asked: Any) -> list[str]:
        return [entry_line(entry) for entry in called_as_now(self.store, entries(self.store, **asked))]

    def take(self, *lines: str | dict[str, Any], new_numbers: bool = False, rehearse: bool = False) -> JournalMerge:
        text = "\n".join(line.rstrip("\n") if isinstance(line, str) else json.dumps(line) for line in lines)
        read = read_entry_lines(io.BytesIO(text.encode()), self.cellar.site.zone, self.now)
        assert read.mistakes == []
        return import_entries(
            self.store,
            read.entries,
            self.cellar,
            self.now,
            new_numbers=new_numbers,
            rehearse=rehearse,
            despite_warnings=True,
        )

    def refused(self, *lines: str | dict[str, Any], new_numbers: bool = False) -> list[Mistake]:
        """Why lines are not taken; that nothing of them was."""
        before = kept(self.store)
        taken = self.take(*lines, new_numbers=new_numbers)
        assert taken.mistakes
        assert kept(self.store) == before
        return list(taken.mistakes)


def kept(store: Store) -> dict[str, list[Any]]:
    """All that a journal leaves in the store."""
    return {
        query: store.connection.execute(query).fetchall()
        for query in (
            "SELECT id, kind, at_ms, written_ms, who, place, lot, json_remove(body, '$.warnings'), in_place_of"
            " FROM entry ORDER BY id",
            "SELECT * FROM entry_place ORDER BY place, entry",
            "SELECT entry, at_ms, who, reason, together_with FROM strike ORDER BY entry",
            "SELECT * FROM result ORDER BY entry, quantity",
            "SELECT series, from_ms, kind, gain, offset, unit, because, written_ms FROM scale ORDER BY id",
        )
    }


NewDesk = Callable[[], Desk]


@contextmanager
def empty_journals(path: Path) -> Iterator[NewDesk]:
    """Makes empty journals, each in a store of its own."""
    stores: list[Store] = []

    def make() -> Desk:
        folder = path / str(len(stores))
        folder.mkdir()
        stores.append(new_store(folder))
        return Desk(stores[-1], journal_cellar())

    yield make
    for store in stores:
        store.close()


def filled(desk: Desk) -> Desk:
    """The lot A, 16 L of it in K1."""
    desk.write("lot", lot="A", name="Malvasia", style="white")
    desk.write("first-filling", "K1", "A", volume_l=16.0)
    desk.now += 3 * HOUR
    return desk


def a_line(kind: str, at: int, place: str | None = None, lot: str | None = None, **said: Any) -> dict[str, Any]:
    """A line as somebody writes it by hand; at: minutes after the fill."""
    found: dict[str, Any] = {"kind": kind, "at": iso_utc(NOW + 2 * HOUR + at * MINUTE), "who": "Eva", "body": said}
    return found | ({} if place is None else {"place": place}) | ({} if lot is None else {"lot": lot})
