"""`leeside journal`: read back what was written down, struck entries crossed out."""

from __future__ import annotations

__all__ = ["journal"]

import json
from typing import Annotated, Final

import typer

from alerts.command.opened_cellar import open_cellar, wall_ms
from alerts.command.options import (
    EntriesOfKind,
    EntriesOfLot,
    EntriesOfVessel,
    File,
    Json,
    Since,
    Until,
    check_kinds,
)  # fmt: skip
from alerts.view.format import local_time
from alerts.view.journal_lines import entry_json, entry_lines
from alerts.view.racking_lines import racking_line
from alerts.view.vessel_contents import contents_line
from ingest.cellar import Cellar
from ingest.entering import moment
from ingest.errors import IngestError
from ingest.journal.answers import AnswersWrong
from ingest.store.journal.begun_rackings import begun_rackings
from ingest.store.journal.entries import entries
from ingest.store.journal.stored_ledger import contents
from ingest.times import Ambiguous, moment_of

EXAMPLE: Final = "leeside journal cellar.toml --vessel K1 --from 2026-11-01"


def journal(
    file: File,
    vessel: EntriesOfVessel = None,
    lot: EntriesOfLot = None,
    kinds: EntriesOfKind = None,
    since: Since = None,
    until: Until = None,
    struck: Annotated[bool, typer.Option("--struck", help="Only entries that were struck.")] = False,
    as_json: Json = False,
) -> int:
    """Print what was written down, oldest first, and what the vessels hold. Exit code 1 if there is no such entry."""
    check_kinds(kinds)
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store):
        from_ms = _moment(since, cellar, now_ms, "--from")
        to_ms = _moment(until, cellar, now_ms, "--to")
        found = entries(store, vessel=vessel, lot=lot, kinds=kinds or (), from_ms=from_ms, to_ms=to_ms)
        held = contents(store, now_ms if to_ms is None else min(to_ms, now_ms), cellar)
        with store.read() as connection:
            begun = [one for one in begun_rackings(connection) if vessel in (None, *one.vessels)]
    if struck:
        found = [entry for entry in found if entry.struck is not None]
    if as_json:
        print(json.dumps([entry_json(entry) for entry in found], indent=2, ensure_ascii=False))
        return 0 if found else 1
    for entry in found:
        for line in entry_lines(entry, cellar.site.zone, now_ms):
            print(line)
    if not found:
        print("no such entry")
    shown = [one for id, one in held.items() if vessel in (None, id)]
    if lot is not None:
        shown = [one for one in shown if any(part.lot == lot for part in one.lots)]
    if shown and not kinds and not struck:
        at = "now" if to_ms is None or to_ms >= now_ms else local_time(to_ms, cellar.site.zone, now_ms)
        print(f"\nContents, {at}")
        for one in shown:
            print(f"  {one.vessel}: {contents_line(one, cellar.site.zone, cellar.site.units, now_ms)}")
    if begun and lot is None:
        print("\nNot finished")
        for racking in begun:
            print("  " + racking_line(racking, cellar.site.zone, now_ms))
    return 0 if found else 1


def _moment(text: str | None, cellar: Cellar, now_ms: int, option: str) -> int | None:
    """A date alone is its midnight here, so that --from and --to part whole days."""
    if text is None:
        return None
    try:
        return moment_of(text, cellar.site.zone)
    except Ambiguous as error:
        raise typer.BadParameter(str(error), param_hint=option) from error
    except IngestError:
        pass  # it may still be a spoken one
    try:
        return moment(text, cellar, now_ms)
    except AnswersWrong as error:
        raise typer.BadParameter(error.wrong[0].why, param_hint=option) from error
