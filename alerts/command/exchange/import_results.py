"""`leeside import --results`: titrations and measurements from a spreadsheet; first what would come of it."""

from __future__ import annotations

__all__ = ["ResultOptions", "import_results"]

from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

from alerts.command.exchange.import_entries import brought_in
from alerts.command.exchange.table_text import open_table, table_rows
from ingest.cellar import Cellar
from ingest.exchange.entry_lines import EntryLines
from ingest.exchange.moments import DateOrder, Moments
from ingest.exchange.result_table import ResultForm, read_result_table
from ingest.store import Store
from ingest.store.journal.stored_ledger import ledger_at


class ResultOptions(NamedTuple):
    """form: what the columns hold; delimiter: None to find it; zone: None for the site's; dates: order of such with
    slashes.
    """

    form: ResultForm
    delimiter: str | None
    zone: ZoneInfo | None
    dates: DateOrder | None


def import_results(
    file: Path, table: Path, options: ResultOptions, *, write: bool, despite_warnings: bool, as_json: bool
) -> int:
    """Show what the table holds, and with ``write`` bring it in, all of it or nothing; exit codes as for entries."""

    def read(path: Path, cellar: Cellar, store: Store, now_ms: int) -> EntryLines:
        with store.read() as connection:
            lots = ledger_at(connection, now_ms, cellar).lots.names
        moments = Moments(options.zone or cellar.site.zone, now_ms, order=options.dates, noon=True)
        with open_table(path) as (text, _):
            rows = table_rows(path, text, options.delimiter)
            return read_result_table(rows, options.form, cellar, lots, moments, now_ms)

    return brought_in(
        file, table, read, new_numbers=False, write=write, despite_warnings=despite_warnings, as_json=as_json
    )
