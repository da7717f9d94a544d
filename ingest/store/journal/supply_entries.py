"""Where the gas supply is open, from the stored journal."""

from __future__ import annotations

__all__ = ["supplies_inside", "supply_entries"]

import sqlite3
from dataclasses import replace
from typing import Final

from ingest.cellar import Cellar
from ingest.journal.entry import Entry
from ingest.journal.supply import Supply, supply_at
from ingest.store.journal.entry_rows import entry_of, unstruck
from ingest.store.journal.stored_ledger import equipment_of

_VALVE: Final = "kind = 'gas' AND json_extract(body, '$.act') IN ('supply opened', 'supply shut') AND at_ms <= ?"


def supply_entries(connection: sqlite3.Connection, cellar: Cellar, until_ms: int) -> list[Entry]:
    """List the entries of valves up to a time (UTC ms), that time included, in the order in which they happened.

    Vessels and cylinders have the names that they have now. Call inside a transaction.
    """
    equipment = equipment_of(connection, cellar, until_ms)
    renamed = {cylinder.was: cylinder.id for cylinder in cellar.cylinder if cylinder.was is not None}
    named = []
    for row in connection.execute(unstruck(_VALVE), (until_ms,)):
        entry = entry_of(row)
        place = entry.place or ""
        named.append(replace(entry, place=renamed.get(place) or equipment.name_now(place, entry.written_ms)))
    return named


def supplies_inside(connection: sqlite3.Connection, cellar: Cellar, at_ms: int) -> dict[str, Supply]:
    """Say for each vessel whether the supply is open at a time (UTC ms); call inside a transaction."""
    by_place: dict[str, list[Entry]] = {}
    for entry in supply_entries(connection, cellar, at_ms):
        by_place.setdefault(entry.place or "", []).append(entry)
    line_of = {vessel: line for line in cellar.gas_line for vessel in line.vessels}
    supplies = {}
    for vessel in cellar.vessel:
        line = line_of.get(vessel.id)
        said = [*by_place.get(vessel.id, ()), *(() if line is None else by_place.get(line.cylinder, ()))]
        said.sort(key=lambda entry: (entry.at_ms, entry.id))
        supplies[vessel.id] = supply_at(vessel.id, at_ms, said, () if line is None else (line,))
    return supplies
