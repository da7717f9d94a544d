"""`leeside alarms`: the alarms, or the whole alarm record."""

from __future__ import annotations

__all__ = ["alarms"]

from typing import Annotated, Final

import typer

from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json
from alerts.command.terminal import print_plain
from alerts.view.alarm_lines import alarm_json, alarm_line
from alerts.view.format import local_time
from alerts.view.status import cellar_status
from ingest.json_text import json_text
from ingest.machine_clock import even_time
from ingest.process import wall_ms
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
    with open_cellar(file) as (cellar, store), store.read():
        status = cellar_status(cellar, store, now_ms, even_time())
        record = transitions(store) if everything else []
    zone, units = cellar.site.zone, cellar.site.units
    if as_json:
        out: dict[str, object] = {"alarms": [alarm_json(alarm) for alarm in status.alarms]}
        if everything:
            out["journal"] = [{**step._asdict(), "at": iso_utc(step.at_ms)} for step in record]
        print(json_text(out, indent=2))
        return 1 if status.alarms else 0
    for step in record:
        value = "" if step.value is None else f" {step.value:g}"
        who = f" by {step.who}" if step.who else ""
        note = f": {step.note}" if step.note else ""
        print_plain(
            f"{local_time(step.at_ms, zone, now_ms)}  {step.occurrence or '-':5} {step.key}{value}: "
            f"{step.event}, {step.from_state} -> {step.to_state}{who}{note}"
        )
    if everything:
        print_plain()
    for alarm in status.alarms:
        print_plain(alarm_line(alarm, zone, units, now_ms))
    if not status.alarms:
        print_plain("There is no alarm.")
    return 1 if status.alarms else 0
