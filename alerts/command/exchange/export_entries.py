"""`leeside export --entries`: the journal as lines of JSON that `leeside import --entries` takes, or as a table."""

from __future__ import annotations

__all__ = ["write_entries"]

from collections.abc import Sequence
from typing import TextIO

from ingest.exchange.entry_lines import entry_line
from ingest.exchange.entry_table import ENTRY_COLUMNS, entry_row, table_rows
from ingest.store import Store
from ingest.store.journal.entries import entries
from ingest.store.journal.renames import called_as_now


def write_entries(
    out: TextIO,
    store: Store,
    *,
    vessel: str | None,
    lot: str | None,
    kinds: Sequence[str],
    from_ms: int,
    to_ms: int,
    with_struck: bool,
    as_table: bool,
) -> int:
    """Write entries in the order in which they happened, and return how many."""
    chosen = entries(store, vessel=vessel, lot=lot, kinds=kinds, from_ms=from_ms, to_ms=to_ms, struck=with_struck)
    if as_table:
        out.write(table_rows([ENTRY_COLUMNS]))
    for entry in called_as_now(store, chosen):
        out.write(table_rows([entry_row(entry)]) if as_table else entry_line(entry))
    return len(chosen)
