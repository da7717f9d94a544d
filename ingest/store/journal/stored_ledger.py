"""What vessels hold, from the stored journal: the vessels of then, a snapshot, and the entries since."""

from __future__ import annotations

__all__ = [
    "EmptyVessels",
    "contents",
    "contents_inside",
    "drop_snapshots",
    "empty_vessels",
    "equipment_of",
    "keep_snapshots",
    "load_ledger",
    "names_of",
]

import json
import sqlite3
import tomllib
from functools import lru_cache
from typing import Any, Final

from pydantic import ValidationError

from ingest.cellar import Cellar, Vessel
from ingest.journal.contents import Contents
from ingest.journal.equipment import CellarOfTime, Equipment, cellar_of_time
from ingest.journal.kinds import moving_kinds
from ingest.journal.ledger import BEGINNING, Ledger, Snapshot
from ingest.journal.vessel_state import VesselState
from ingest.journal.wine import So2Value, Wine
from ingest.store.connection import Store
from ingest.store.journal.entry_rows import entry_of, unstruck
from ingest.times import END_OF_TIME_MS

# So many entries between two snapshots: few enough to be folded in some milliseconds.
SNAPSHOT_EVERY: Final = 256


def equipment_of(connection: sqlite3.Connection, cellar: Cellar | None = None, now_ms: int = 0) -> Equipment:
    """The vessels of every cellar file that ran, and from now_ms (UTC ms) on those of ``cellar`` if it never ran."""
    rows = connection.execute("SELECT from_ms, text FROM cellar_file ORDER BY id").fetchall()
    cellars = [CellarOfTime(from_ms, _vessels(text).vessels) for from_ms, text in rows]
    if cellar is not None and (not rows or rows[-1][1] != cellar.text):
        cellars.append(cellar_of_time(cellar, now_ms))
    return Equipment(tuple(cellars))


@lru_cache(maxsize=64)
def _vessels(text: str) -> CellarOfTime:
    """The vessels of a cellar file that ran once: as much as can be read, since keys of then may be none today."""
    found = []
    try:
        tables = tomllib.loads(text).get("vessel", [])
    except tomllib.TOMLDecodeError:
        tables = []  # never ran as it stands there; one unreadable row must not silence the alarms
    for raw in tables:
        try:
            found.append(Vessel.model_validate({key: raw[key] for key in raw if key in _KEYS}))
        except ValidationError:
            continue  # what no vessel of today can be has no capacity either
    return cellar_of_time(found, 0)


_KEYS: Final = frozenset({"id", "kind", "capacity", "was"})


def load_ledger(
    connection: sqlite3.Connection,
    equipment: Equipment,
    before: tuple[int, int] | None = None,
    to_ms: int | None = None,
) -> Ledger:
    """The entries that can change what vessels hold, from the newest snapshot on that is before that place in the
    order (at_ms, id); all of them without one. to_ms: later entries are left out. Call inside a transaction.
    """
    base = BEGINNING if before is None else _newest_snapshot(connection, equipment, before)
    kinds = ", ".join(f"'{kind}'" for kind in moving_kinds())
    rows = connection.execute(
        unstruck(f"kind IN ({kinds}) AND (at_ms, entry.id) > (?, ?) AND at_ms <= ?"),
        (base.at_ms, base.id, END_OF_TIME_MS if to_ms is None else to_ms),
    )
    folding = Ledger([entry_of(row) for row in rows], equipment, base)
    for row in connection.execute(unstruck("kind = 'lot'")):
        folding.lots.add(entry_of(row))
    return folding


def contents(store: Store, at_ms: int, cellar: Cellar | None = None) -> dict[str, Contents]:
    """What each vessel holds at a time (UTC ms): those of the cellar file of then, and those that entries name.

    cellar: the file as it is now, where it may never have run yet.
    """
    with store.read() as connection:
        return contents_inside(connection, at_ms, cellar)


def contents_inside(connection: sqlite3.Connection, at_ms: int, cellar: Cellar | None = None) -> dict[str, Contents]:
    """``contents`` inside a transaction of the caller's."""
    equipment = equipment_of(connection, cellar, at_ms)
    return load_ledger(connection, equipment, before=(at_ms + 1, 0), to_ms=at_ms).at(at_ms)


def empty_vessels(store: Store, now_ms: int) -> frozenset[str]:
    """The vessels that are known to be empty now (UTC ms). Whoever asks every second keeps an ``EmptyVessels``."""
    return EmptyVessels(store).at(now_ms)


class EmptyVessels:
    """The vessels that are known to be empty, worked out anew only when journal or cellar file changed."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._seen: tuple[int, ...] | None = None
        self._valid = range(0)
        self._empty: frozenset[str] = frozenset()

    def at(self, now_ms: int) -> frozenset[str]:
        """Those that are empty at a time (UTC ms)."""
        # Entries are counted: an import may bring one whose number is not the highest.
        seen = self._store.connection.execute(
            "SELECT (SELECT count(*) FROM entry), (SELECT coalesce(max(id), 0) FROM strike),"
            " (SELECT coalesce(max(id), 0) FROM cellar_file)"
        ).fetchone()
        if seen != self._seen or now_ms not in self._valid:
            with self._store.read() as connection:
                equipment = equipment_of(connection)
                folding = load_ledger(connection, equipment, before=(now_ms + 1, 0), to_ms=now_ms)
                # A clock that runs ahead may have written what has yet to happen.
                ahead = connection.execute("SELECT min(at_ms) FROM entry WHERE at_ms > ?", (now_ms,)).fetchone()[0]
            self._empty = folding.empty_at(now_ms)
            self._valid = range(now_ms, END_OF_TIME_MS if ahead is None else ahead)
            self._seen = seen
        return self._empty


def keep_snapshots(connection: sqlite3.Connection, folding: Ledger) -> None:
    """Keep what vessels hold after each so many of the folding's entries; call inside the writing transaction."""
    for count in range(SNAPSHOT_EVERY, len(folding) + 1, SNAPSHOT_EVERY):
        at_ms, id, state = folding.snapshot(count)
        connection.execute(
            "INSERT OR REPLACE INTO contents_snapshot (at_ms, entry, names, state) VALUES (?, ?, ?, ?)",
            (at_ms, id, names_of(folding.equipment), json.dumps(state, separators=(",", ":"))),
        )


def drop_snapshots(connection: sqlite3.Connection, key: tuple[int, int]) -> None:
    """Forget snapshots that an entry at that place in the order (at_ms, id) is in, or would be in."""
    connection.execute("DELETE FROM contents_snapshot WHERE (at_ms, entry) >= (?, ?)", key)


def _newest_snapshot(connection: sqlite3.Connection, equipment: Equipment, before: tuple[int, int]) -> Snapshot:
    row = connection.execute(
        "SELECT at_ms, entry, state FROM contents_snapshot WHERE (at_ms, entry) < (?, ?) AND names = ?"
        " ORDER BY at_ms DESC, entry DESC LIMIT 1",
        (*before, names_of(equipment)),
    ).fetchone()
    if row is None:
        return BEGINNING
    return Snapshot(row[0], row[1], {vessel: _held(held) for vessel, held in json.loads(row[2]).items()})


def names_of(equipment: Equipment) -> str:
    """The renames of vessels as text: whether what was worked out with them still holds."""
    return json.dumps(equipment.renames)


def _held(stored: list[Any]) -> VesselState:
    held = VesselState(*stored)
    parts, free, total, *alcohol = held.wine
    wine = Wine(
        tuple((lot, share) for lot, share in parts),
        None if free is None else So2Value(*free),
        None if total is None else So2Value(*total),
        *alcohol,
    )
    return held._replace(wine=wine)
