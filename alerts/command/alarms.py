"""`leeside alarms`: the alarms and what is muted, the alarm record, or how the alarms of a time behaved."""

from __future__ import annotations

__all__ = ["alarms"]

from pathlib import Path
from typing import Annotated, Final

import typer

from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json, Since, Until, refuse_given, time_range
from alerts.command.terminal import print_plain
from alerts.limits.limits_now import limits_now
from alerts.view.alarms.alarm_figures import alarm_figures
from alerts.view.alarms.alarm_lines import alarm_json, alarm_line
from alerts.view.alarms.figure_lines import LEAST_DAYS, figure_lines, figures_json
from alerts.view.alarms.muted_lines import muted_json, muted_line
from alerts.view.alarms.record_lines import record_json, record_line
from alerts.view.status import cellar_status
from alerts.watch.due import DAY_MS
from ingest.json_text import json_text
from ingest.machine_clock import even_time
from ingest.process import wall_ms
from ingest.store.alarms.alarm_record import transitions
from ingest.store.cellar_files import cellar_files
from ingest.times import iso_utc

EXAMPLE: Final = "leeside alarms cellar.toml"


def alarms(
    file: File,
    history: Annotated[
        bool, typer.Option("--history", help="First print the alarm record: every step, with who and why.")
    ] = False,
    figures: Annotated[
        bool, typer.Option("--figures", help="Show how the alarms behaved, beside the targets of the standards.")
    ] = False,
    since: Since = None,
    until: Until = None,
    as_json: Json = False,
) -> int:
    """List the alarms, standing ones first, most urgent first, and what is muted. Exit code 1 while there is an alarm.

    What people have muted is not counted. With --figures: of the last 30 days, or from --from to --to; exit code 0.
    """
    if figures:
        refuse_given({"--history": history}, "cannot be combined with --figures")
        return _figures(file, since, until, as_json=as_json)
    refuse_given({"--from": since, "--to": until}, "goes with --figures")
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


def _figures(file: Path, since: str | None, until: str | None, *, as_json: bool) -> int:
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store), store.read():
        zone = cellar.site.zone
        from_ms, to_ms = time_range(since, until, zone, now_ms)
        to_ms = min(to_ms, now_ms)
        steps = transitions(store)
        # Days before leeside watched would make every average look better.
        first_ms = min(
            [*(at_ms for at_ms, _ in cellar_files(store)), *(step.at_ms for step in steps[:1])], default=now_ms
        )
        from_ms = max(to_ms - LEAST_DAYS * DAY_MS if since is None else from_ms, first_ms)
        if from_ms >= to_ms:
            raise typer.BadParameter(f"leeside watches since {iso_utc(first_ms)}; name a later time", param_hint="--to")
        priority_of = {key: limit.priority for key, limit in limits_now(cellar, store, now_ms).items()}
        found = alarm_figures(steps, priority_of, from_ms, to_ms, zone)
    if as_json:
        print(json_text(figures_json(found), indent=2))
        return 0
    for line in figure_lines(found, zone):
        print_plain(line)
    return 0
