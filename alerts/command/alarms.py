"""`leeside alarms`: the alarms and what is muted, or the alarm record."""

from __future__ import annotations

__all__ = ["alarms"]

from typing import Annotated, Final

import typer

from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json
from alerts.command.terminal import print_plain
from alerts.limits.limits_now import limits_now
from alerts.view.alarm_lines import alarm_json, alarm_line
from alerts.view.muted_lines import muted_json, muted_line
from alerts.view.record_lines import record_json, record_line
from alerts.view.status import cellar_status
from ingest.json_text import json_text
from ingest.machine_clock import even_time
from ingest.process import wall_ms
from ingest.store.alarms.alarm_record import transitions

EXAMPLE: Final = "leeside alarms cellar.toml"


def alarms(
    file: File,
    history: Annotated[
        bool, typer.Option("--history", help="First the alarm record: every step, with who and why.")
    ] = False,
    as_json: Json = False,
) -> int:
    """List the alarms, standing ones first, most urgent first, and what is muted. Exit code 1 while there is an alarm.

    What people have muted counts as no alarm.
    """
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store), store.read():
        status = cellar_status(cellar, store, now_ms, even_time())
        record = transitions(store) if history else []
        limits = limits_now(cellar, store, now_ms)
    zone, units = cellar.site.zone, cellar.site.units
    code = 1 if status.alarms else 0
    if as_json:
        out: dict[str, object] = {
            "alarms": [alarm_json(alarm, now_ms) for alarm in status.alarms],
            "muted": [muted_json(muted) for muted in status.muted],
        }
        if history:
            out["history"] = [record_json(step) for step in record]
        print(json_text(out, indent=2))
        return code
    for step in record:
        print_plain(record_line(step, limits, zone, units, now_ms))
    if history:
        print_plain()
    for alarm in status.alarms:
        print_plain(alarm_line(alarm, zone, units, now_ms))
    if not status.alarms:
        print_plain("There is no alarm.")
    if status.muted:
        print_plain("\nMuted:")
    for muted in status.muted:
        print_plain("  " + muted_line(muted, zone, now_ms))
    return code
