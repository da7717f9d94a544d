"""`leeside alarms`: what stands, or the whole alarm journal."""

from __future__ import annotations

__all__ = ["alarm_json", "alarm_line", "alarms"]

import json
from typing import Annotated, Final
from zoneinfo import ZoneInfo

import typer

from alerts.command.opened_cellar import open_cellar, wall_ms
from alerts.command.options import File, Json
from alerts.view.format import local_time, quantity_name, value_text
from alerts.view.status import AlarmStatus, cellar_status
from alerts.watch.own_limits import good_of
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
        view = cellar_status(cellar, store, now_ms)
        journal = transitions(store) if everything else []
    zone, units = cellar.site.zone, cellar.site.units
    if as_json:
        out: dict[str, object] = {"alarms": [alarm_json(alarm) for alarm in view.alarms]}
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
        for alarm in view.alarms:
            print(alarm_line(alarm, zone, units, now_ms))
        if not view.alarms:
            print("No alarm stands.")
    return 1 if view.alarms else 0


def alarm_line(alarm: AlarmStatus, zone: ZoneInfo, units: str, now_ms: int) -> str:
    """One alarm in one line: id, priority, place, what, since when, whether somebody has seen it."""
    limit = alarm.limit
    if limit is None:
        what = f"{alarm.key} (its limit has left the cellar file)"
    elif limit.kind == "no data":
        missing = "no good reading" if limit.role == "bad measurement" else "no data"
        what = f"{alarm.at} {quantity_name(limit.quantity)}: {missing} from {good_of(limit.probe)}"
    else:
        value = "" if alarm.value is None else value_text(limit.quantity, alarm.value, units)
        what = (
            f"{alarm.at} {quantity_name(limit.quantity)} {value}, "
            f"limit {limit.kind} {value_text(limit.quantity, limit.setpoint, units)}"
        )
    since = "" if alarm.since_ms is None else f", since {local_time(alarm.since_ms, zone, now_ms)}"
    state = {"returned": "back to normal, not acknowledged", "acknowledged": f"seen by {alarm.acknowledged_by}"}.get(
        alarm.state, "not acknowledged"
    )
    return f"{alarm.occurrence:5} {limit.priority if limit else '-':6} {what}{since} ({state})"


def alarm_json(alarm: AlarmStatus) -> dict[str, object]:
    """One alarm as JSON; values in the quantity's unit, which is named beside them."""
    limit = alarm.limit
    from ingest.cellar import QUANTITIES

    unit = "s" if limit is None or limit.kind == "no data" else QUANTITIES[limit.quantity].unit
    return {
        "alarm": alarm.occurrence,
        "limit": alarm.key,
        "state": alarm.state,
        "at": alarm.at,
        "quantity": limit.quantity if limit else None,
        "kind": limit.kind if limit else None,
        "priority": limit.priority if limit else None,
        "value": alarm.value,
        "last_value": alarm.last_value,
        "setpoint": limit.setpoint if limit else None,
        "unit": unit,
        "since": None if alarm.since_ms is None else iso_utc(alarm.since_ms),
        "acknowledged_by": alarm.acknowledged_by,
        "consequence": limit.consequence if limit else None,
        "action": limit.action if limit else None,
    }
