"""Where the gas supply is open, from the stored journal."""

from __future__ import annotations

__all__ = ["supplies_inside", "supply_histories"]

import sqlite3
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from ingest.cellar import Cellar
from ingest.journal.entry import Entry
from ingest.journal.supply import Supply, supply_history
from ingest.store.journal.entry_rows import entry_of, unstruck
from ingest.store.journal.stored_ledger import equipment_of

_VALVE: Final = "kind = 'gas' AND json_extract(body, '$.act') IN ('supply opened', 'supply shut') AND at_ms <= ?"


def supply_histories(connection: sqlite3.Connection, cellar: Cellar, until_ms: int) -> dict[str, Sequence[Supply]]:
    """List for each vessel what its supply was up to a time (UTC ms), that time included, as ``supply_history`` does.

    Vessels and cylinders are meant by the names that they have now. Call inside a transaction.
    """
    equipment = equipment_of(connection, cellar, until_ms)
    renamed = {cylinder.was: cylinder.id for cylinder in cellar.cylinder if cylinder.was is not None}
    by_place: dict[str, list[Entry]] = {}
    for row in connection.execute(unstruck(_VALVE), (until_ms,)):
        entry = entry_of(row)
        place = entry.place or ""
        place = renamed.get(place) or equipment.name_now(place, entry.written_ms)
        by_place.setdefault(place, []).append(replace(entry, place=place))
    line_of = {vessel: line for line in cellar.gas_line for vessel in line.vessels}
    histories = {}
    for vessel in cellar.vessel:
        line = line_of.get(vessel.id)
        said = [*by_place.get(vessel.id, ()), *(() if line is None else by_place.get(line.cylinder, ()))]
        said.sort(key=lambda entry: entry.key)
        histories[vessel.id] = supply_history(vessel.id, said, () if line is None else (line,))
    return histories


def supplies_inside(connection: sqlite3.Connection, cellar: Cellar, at_ms: int) -> dict[str, Supply]:
    """Say for each vessel whether the supply is open at a time (UTC ms); call inside a transaction."""
    return {vessel: history[-1] for vessel, history in supply_histories(connection, cellar, at_ms).items()}
