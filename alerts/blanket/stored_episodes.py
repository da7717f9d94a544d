"""The episodes of the gas over each wine, from the stored journal."""

from __future__ import annotations

__all__ = ["stored_timelines"]

import sqlite3
from collections.abc import Mapping
from typing import Final

from alerts.blanket.episodes import RESTING_MS, EpisodeFold, Timeline
from alerts.blanket.setting import BlanketSetting
from ingest.cellar import Cellar, Gas
from ingest.journal.kinds.gas import GasBody
from ingest.store.journal.entry_rows import entry_of, unstruck
from ingest.store.journal.stored_ledger import equipment_of, load_ledger
from ingest.store.journal.supply_entries import supply_histories
from ingest.times import END_OF_TIME_MS

# Entries that change what is known of a vessel's gas, and nothing that the ledger knows.
_BESIDE_LEDGER: Final = "kind IN ('gas', 'addition') AND at_ms >= ?"
_GAS_NAMED: Final = "kind = 'gas' AND json_extract(body, '$.gas') IS NOT NULL AND at_ms < ?"


def stored_timelines(
    connection: sqlite3.Connection, cellar: Cellar, settings: Mapping[str, BlanketSetting], from_ms: int, now_ms: int
) -> dict[str, Timeline]:
    """Work out the episodes of each vessel from a time on, those that have yet to begin included.

    Entries of some weeks before are read too, to know what wines hold. Call inside a transaction.
    """
    begin_ms = max(from_ms - RESTING_MS, 0)
    equipment = equipment_of(connection, cellar, now_ms)
    ledger = load_ledger(connection, equipment, before=(begin_ms, 0))
    beside = [ledger.named(entry_of(row)) for row in connection.execute(unstruck(_BESIDE_LEDGER), (begin_ms,))]
    entries = {entry.id: entry for entry in (*ledger.after((begin_ms, 0)), *beside)}
    gases: dict[str, Gas] = {}
    for row in connection.execute(unstruck(_GAS_NAMED), (begin_ms,)):
        entry = ledger.named(entry_of(row))
        if entry.place is not None and isinstance(entry.body, GasBody) and entry.body.gas is not None:
            gases[entry.place] = entry.body.gas
    supplies = supply_histories(connection, cellar, END_OF_TIME_MS)
    fold = EpisodeFold(settings, ledger, begin_ms, supplies, gases)
    return fold.timelines(sorted(entries.values(), key=lambda entry: entry.key))
