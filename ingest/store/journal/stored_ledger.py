"""What vessels hold, from the stored journal: the vessels of that time, a snapshot, and the entries since."""

from __future__ import annotations

__all__ = [
    "contents",
    "contents_inside",
    "drop_snapshots",
    "equipment_of",
    "keep_snapshots",
    "ledger_at",
    "load_ledger",
    "renames_text",
]

import json
import sqlite3
import tomllib
from collections.abc import Sequence
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
from ingest.store.journal.entry_rows import PLACE_IN_ORDER, entry_of, unstruck
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
    """The vessels of a cellar file that ran once: as much as can be read, since its keys may not exist any more."""
    vessels = []
    try:
        tables = tomllib.loads(text).get("vessel", [])
    except tomllib.TOMLDecodeError:
        tables = []  # never ran as it stands there; one unreadable row must not silence the alarms
    for raw in tables:
        try:
            vessels.append(Vessel.model_validate({key: raw[key] for key in raw if key in _KEYS}))
        except ValidationError:
            continue  # what could not be a vessel today has no capacity either
    return cellar_of_time(vessels, 0)


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
        unstruck(f"kind IN ({kinds}) AND at_ms >= ? AND (at_ms, {PLACE_IN_ORDER}) > (?, ?) AND at_ms <= ?"),
        (base.at_ms, base.at_ms, base.id, END_OF_TIME_MS if to_ms is None else to_ms),
    )
    ledger = Ledger([entry_of(row) for row in rows], equipment, base)
    for row in connection.execute(unstruck("kind = 'lot'")):
        ledger.lots.add(entry_of(row))
    return ledger


def contents(store: Store, at_ms: int, cellar: Cellar | None = None) -> dict[str, Contents]:
    """What each vessel holds at a time (UTC ms): those of the cellar file of that time and those that
    entries name.

    cellar: the file as it is now, where it may never have run yet.
    """
    with store.read() as connection:
        return contents_inside(connection, at_ms, cellar)


def contents_inside(connection: sqlite3.Connection, at_ms: int, cellar: Cellar | None = None) -> dict[str, Contents]:
    """``contents`` inside a transaction of the caller's."""
    return ledger_at(connection, at_ms, cellar).at(at_ms)


def ledger_at(connection: sqlite3.Connection, at_ms: int, cellar: Cellar | None = None) -> Ledger:
    """The ledger that says what vessels hold at a time (UTC ms); cellar: as ``contents`` takes it."""
    return load_ledger(connection, equipment_of(connection, cellar, at_ms), before=(at_ms + 1, 0), to_ms=at_ms)


def keep_snapshots(connection: sqlite3.Connection, ledger: Ledger) -> None:
    """Keep what vessels hold after every so many of the ledger's entries; call inside the writing transaction."""
    for count in range(SNAPSHOT_EVERY, len(ledger) + 1, SNAPSHOT_EVERY):
        at_ms, id, state = ledger.snapshot(count)
        connection.execute(
            "INSERT OR REPLACE INTO contents_snapshot (at_ms, entry, names, state) VALUES (?, ?, ?, ?)",
            (at_ms, id, renames_text(ledger.equipment), json.dumps(state, separators=(",", ":"))),
        )


def drop_snapshots(connection: sqlite3.Connection, key: tuple[int, int]) -> None:
    """Forget snapshots that an entry at that place in the order (at_ms, id) is in, or would be in."""
    connection.execute("DELETE FROM contents_snapshot WHERE (at_ms, entry) >= (?, ?)", key)


def _newest_snapshot(connection: sqlite3.Connection, equipment: Equipment, before: tuple[int, int]) -> Snapshot:
    row = connection.execute(
        "SELECT at_ms, entry, state FROM contents_snapshot WHERE (at_ms, entry) < (?, ?) AND names = ?"
        " ORDER BY at_ms DESC, entry DESC LIMIT 1",
        (*before, renames_text(equipment)),
    ).fetchone()
    if row is None:
        return BEGINNING
    return Snapshot(row[0], row[1], {vessel: _state(values) for vessel, values in json.loads(row[2]).items()})


def renames_text(equipment: Equipment) -> str:
    """The renames of vessels as text: whether what was worked out with them still holds."""
    return json.dumps(equipment.renames)


def _so2(values: Sequence[Any] | None) -> So2Value | None:
    return None if values is None else So2Value(*values)


def _state(values: list[Any]) -> VesselState:
    state = VesselState(*values)
    # A snapshot of an earlier version lacks the last parts.
    wine_values: list[Any] = list(state.wine)
    wine = Wine(*wine_values)
    parts = tuple((lot, share) for lot, share in wine.parts)
    wine = wine._replace(
        parts=parts,
        free=_so2(wine.free),
        total=_so2(wine.total),
        past_free=_so2(wine.past_free),
        past_total=_so2(wine.past_total),
    )
    return state._replace(wine=wine)
