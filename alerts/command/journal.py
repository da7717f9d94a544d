"""`leeside journal`: the entries of the journal, struck ones crossed out, and what the vessels hold."""

from __future__ import annotations

__all__ = ["journal"]

from collections.abc import Iterable
from typing import Annotated, Final

import typer

from alerts.command.opened_cellar import open_cellar
from alerts.command.options import (
    EntriesOfKind,
    EntriesOfLot,
    EntriesOfVessel,
    File,
    Json,
    Since,
    Until,
    check_kinds,
    time_range,
)
from alerts.command.terminal import print_plain
from alerts.view.entries.journal_lines import entry_json, entry_lines
from alerts.view.format import local_time
from alerts.view.racking_lines import racking_line
from alerts.view.vessel_contents import contents_line
from ingest.cellar import nearest
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store.journal.begun_rackings import begun_rackings
from ingest.store.journal.entries import entries
from ingest.store.journal.stored_ledger import contents, ledger_at

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
        zone, units = cellar.site.zone, cellar.site.units
        from_ms, to_ms = time_range(since, until, zone, now_ms)
        chosen = entries(store, vessel=vessel, lot=lot, kinds=kinds or (), from_ms=from_ms, to_ms=to_ms)
        vessels = contents(store, min(to_ms, now_ms), cellar)
        with store.read() as connection:
            rackings = [racking for racking in begun_rackings(connection) if vessel in (None, *racking.vessels)]
            lots = ledger_at(connection, now_ms, cellar).lots.names
        in_file = [*(v.id for v in cellar.vessel), *(c.id for c in cellar.cylinder), *(r.id for r in cellar.room)]
        meant = _meant(vessel, [*in_file, *vessels])
        meant = meant or _meant(lot, lots)
    if struck:
        chosen = [entry for entry in chosen if entry.struck is not None]
    if as_json:
        print(json_text([entry_json(entry) for entry in chosen], indent=2))
        return 0 if chosen else 1
    for entry in chosen:
        for line in entry_lines(entry, zone, now_ms):
            print_plain(line)
    if not chosen:
        print_plain(f"no such entry{meant}")
    if not kinds and not struck:
        shown = [held for held in vessels.values() if vessel in (None, held.vessel)]
        if lot is not None:
            shown = [held for held in shown if any(part.lot == lot for part in held.lots)]
        if shown:
            at = "now" if to_ms >= now_ms else local_time(to_ms, zone, now_ms)
            print_plain(f"\nContents, {at}")
        for held in shown:
            print_plain(f"  {held.vessel}: {contents_line(held, zone, units, now_ms)}")
    if rackings and lot is None:
        print_plain("\nNot finished")
        for racking in rackings:
            print_plain("  " + racking_line(racking, zone, now_ms))
    return 0 if chosen else 1


def _meant(id: str | None, names: Iterable[str]) -> str:
    """Say which id of the cellar is the nearest to one that it does not have, "" where there is none."""
    names = list(names)
    near = "" if id is None or id in names else nearest(id, names)
    return f"; did you mean {near}?" if near else ""
