"""`leeside export --entries`: the journal as lines of JSON that `leeside import --entries` takes, or as a table."""

from __future__ import annotations

__all__ = ["WantedEntries", "run_entry_export"]

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import typer

from alerts.command.export import opened, span
from alerts.command.opened_cellar import open_cellar
from ingest.exchange.entry_lines import entry_line
from ingest.exchange.entry_table import ENTRY_COLUMNS, entry_row, table_rows
from ingest.journal.bodies import KINDS
from ingest.store.journal.entries import entries
from ingest.store.journal.renames import called_as_now


class WantedEntries(NamedTuple):
    """What is asked for; None and empty: whatever it is. without_struck: leave out what was crossed out."""

    vessel: str | None = None
    lot: str | None = None
    kinds: Sequence[str] = ()
    without_struck: bool = False

    def refuse_any(self) -> None:
        """Raise typer.BadParameter if one of them was given: for an export of readings."""
        given = {
            "--vessel": self.vessel is not None,
            "--lot": self.lot is not None,
            "--kind": bool(self.kinds),
            "--without-struck": self.without_struck,
        }
        named = [option for option, is_given in given.items() if is_given]
        if named:
            raise typer.BadParameter("is about entries of the journal; add --entries", param_hint=", ".join(named))


def run_entry_export(
    file: Path, wanted: WantedEntries, *, csv: bool, since: str | None, until: str | None, output: Path | None
) -> int:
    """Write entries in the order in which they happened; exit code 1 when there are none, 2 for a wrong call."""
    unknown = [kind for kind in wanted.kinds if kind not in KINDS]
    if unknown:
        raise typer.BadParameter(f"there is no kind '{unknown[0]}'; there are: {', '.join(KINDS)}", param_hint="--kind")
    with open_cellar(file) as (cellar, store):
        from_ms, to_ms = span(cellar, since, until)
        found = entries(
            store,
            vessel=wanted.vessel,
            lot=wanted.lot,
            kinds=wanted.kinds,
            from_ms=from_ms,
            to_ms=to_ms,
            struck=not wanted.without_struck,
        )
        found = called_as_now(store, found)
    with opened(output) as out:
        if csv:
            out.write(table_rows([ENTRY_COLUMNS]))
        for entry in found:
            out.write(table_rows([entry_row(entry)]) if csv else entry_line(entry))
    return 0 if found else 1
