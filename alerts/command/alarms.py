"""`leeside alarms`: what stands, or the whole alarm journal."""

from __future__ import annotations

__all__ = ["alarms"]

import json
from typing import Annotated, Final

import typer

from alerts.command.opened_cellar import open_cellar, wall_ms
from alerts.command.options import File, Json
from alerts.view.alarm_lines import alarm_json, alarm_line
from alerts.view.format import local_time
from alerts.view.status import cellar_status
from ingest.store.alarms.alarm_record import transitions
from ingest.times import iso_utc

EXAMPLE: Final = "leeside alarms cellar.toml"


def alarms(
    file: File,
    everything: Annotated[bool, typer.Option("--all", help="Also what has closed: the whole alarm record.")] = False,
    as_json: Json = False,
) -> int:
    """List the alarms, most urgent first. Exit code 1 while there is one."""
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store):
        status = cellar_status(cellar, store, now_ms)
        journal = transitions(store) if everything else []
    zone, units = cellar.site.zone, cellar.site.units
    if as_json:
        out: dict[str, object] = {"alarms": [alarm_json(alarm) for alarm in status.alarms]}
        if everything:
            out["journal"] = [{**row._asdict(), "at": iso_utc(row.at_ms)} for row in journal]
        print(json.dumps(out, indent=2, ensure_ascii=False))
    else:
        for row in journal:
            value = "" if row.value is None else f" {row.value:g}"
            who = f" by {row.who}" if row.who else ""
            note = f": {row.note}" if row.note else ""
            print(
                f"{local_time(row.at_ms, zone, now_ms)}  {row.occurrence or '-':5} {row.key}{value}: "
                f"{row.event}, {row.from_state} -> {row.to_state}{who}{note}"
            )
        if everything:
            print()
        for alarm in status.alarms:
            print(alarm_line(alarm, zone, units, now_ms))
        if not status.alarms:
            print("No alarm stands.")
    return 1 if status.alarms else 0
