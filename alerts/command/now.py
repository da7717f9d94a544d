"""`leeside now`: every place as it stands."""

from __future__ import annotations

__all__ = ["run_now"]

import json
from pathlib import Path
from typing import Any

from alerts.command.alarms import alarm_json, alarm_line
from alerts.command.opened_cellar import open_cellar, wall_ms
from alerts.view.format import age, local_time, quantity_word, value_shown
from alerts.view.mirror_lines import mirror_lines
from alerts.view.racking_lines import racking_json, racking_line
from alerts.view.status import CellarStatus, DaemonStatus, ReadingStatus, cellar_status
from alerts.view.vessel_contents import contents_json, contents_line
from alerts.watch.own_limits import LOG_BYTES
from ingest.cellar import Cellar
from ingest.cellar.quantities import QUANTITIES
from ingest.times import iso_utc


def run_now(file: Path, as_json: bool) -> int:
    """Print the cellar; exit code 1 while an alarm stands or a probe or daemon is silent."""
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store), store.read():
        view = cellar_status(cellar, store, now_ms)
    if as_json:
        print(json.dumps(_as_json(view), indent=2, ensure_ascii=False))
    else:
        _print(view, cellar)
    return 0 if view.all_well else 1


def _print(view: CellarStatus, cellar: Cellar) -> None:
    zone, units, now_ms = cellar.site.zone, cellar.site.units, view.now_ms
    print(f"{view.site}, {local_time(now_ms, zone, now_ms)}")
    for place in view.places:
        print(f"\n{place.id}  ({place.name or place.kind})")
        if place.holds is not None:
            print("  " + contents_line(place.holds, zone, units, now_ms))
        for racking in place.rackings:
            print("  " + racking_line(racking, zone, now_ms))
        if not place.readings:
            print("  no probe")
        for reading in place.readings:
            print("  " + _reading_line(reading, units, now_ms))
    print("\nAlarms")
    for alarm in view.alarms:
        print("  " + alarm_line(alarm, zone, units, now_ms))
    if not view.alarms:
        print("  none")
    if view.rejects:
        print("\nNot understood")
        for reject in view.rejects[:20]:
            print(
                f"  {reject.times} x {reject.reason}: {reject.probe or 'no probe'}, {reject.source} {reject.address}, "
                f"last {age(now_ms - reject.last_ms)} ago: {reject.example}"
            )
    print("\nLeeside")
    for daemon in view.daemons:
        for line in _daemon_lines(daemon, now_ms):
            print("  " + line)
    if view.file_is_newer:
        print("  the cellar file was changed after leeside started; restart it to take the change up")


def _reading_line(reading: ReadingStatus, units: str, now_ms: int) -> str:
    name = f"{quantity_word(reading.quantity):20}"
    if reading.value is None or reading.at_ms is None:
        return f"{name} nothing yet  [{reading.probe}]"
    doubt = (
        "" if reading.quality == "good" else f", {reading.quality}" + (f" ({reading.reason})" if reading.reason else "")
    )
    silent = ", silent since then" if reading.silent else ""
    value = value_shown(reading.quantity, reading.value, units)
    return f"{name} {value:>12}  {age(now_ms - reading.at_ms)} ago{silent}{doubt}  [{reading.probe}]"


def _broker_lines(mqtt: dict[str, Any]) -> list[str]:
    if mqtt.get("connected"):
        lines = [f"broker: connected, {mqtt.get('protocol')}"]
        if mqtt.get("subscribed") is False:
            lines.append("broker: has not answered our subscriptions yet; until then nothing is read")
    else:
        lines = [f"broker: {mqtt.get('last_error') or 'not connected yet'}"]
    return [*lines, *(f"broker: does not let us read {topic}" for topic in mqtt.get("refused_topics", ()))]


def _store_lines(body: dict[str, Any], now_ms: int) -> list[str]:
    """The store's disk and log, where there is something to say, and its backups."""
    lines = []
    if body.get("disk_low"):
        free, total = body.get("disk_free_bytes", 0), body.get("disk_total_bytes", 0)
        lines.append(f"store: the disk is nearly full, {free / 1e6:.0f} MB of {total / 1e6:.0f} MB are free")
    log_bytes = body.get("store_log_bytes", 0)
    if log_bytes >= LOG_BYTES:
        lines.append(f"store: its log has grown to {log_bytes / 1e6:.0f} MB, some program reads the store without end")
    backup = body.get("backup")
    if isinstance(backup, dict):
        last = backup.get("last_ms")
        lines.append("backup: " + ("none yet" if last is None else f"the last one {age(now_ms - last)} ago"))
        if backup.get("last_error"):
            lines.append(f"backup: the last try failed: {backup['last_error']}")
    return lines


def _daemon_lines(daemon: DaemonStatus, now_ms: int) -> list[str]:
    if daemon.pulse is None:
        return [f"{daemon.role} has never run on this store"]
    beat = daemon.pulse
    state = "runs" if daemon.lives else "gives NO sign of life"
    lines = [
        f"{daemon.role} {state} (last sign {age(now_ms - beat.at_ms)} ago, started {age(now_ms - beat.started_ms)} ago)"
    ]
    mqtt = beat.body.get("mqtt")
    if isinstance(mqtt, dict):
        lines += _broker_lines(mqtt)
    bodies = beat.body.get("lines")
    if isinstance(bodies, dict):
        for name, line in bodies.items():
            lines.append(
                f"line {name}: " + ("open" if line.get("open") else str(line.get("last_error") or "not open yet"))
            )
    if beat.body.get("clock", "right") != "right":
        lines.append("the machine's clock is behind what is stored already; times are estimates until it is right")
    retained = beat.body.get("retained")
    if isinstance(retained, dict):
        for probe, kept in retained.items():
            lines.append(f"{probe}: the broker had kept '{kept.get('found')}', of unknown age; shown here, not stored")
    chips = beat.body.get("chips")
    if isinstance(chips, dict):
        for name, chip in chips.items():
            if not chip.get("open"):
                lines.append(f"chip {name}: {chip.get('last_error') or 'not read yet'}")
    lines += _store_lines(beat.body, now_ms)
    mirror = beat.body.get("mirror")
    if isinstance(mirror, dict):
        lines += [f"mirror: {line}" for line in mirror_lines(mirror, now_ms)]
    waiting = beat.body.get("waiting_messages")
    if waiting:
        lines.append(f"{waiting} messages wait to be sent")
    return lines


def _as_json(view: CellarStatus) -> dict[str, object]:
    def reading(item: ReadingStatus) -> dict[str, object]:
        return {
            "probe": item.probe,
            "quantity": item.quantity,
            "value": item.value,
            "unit": QUANTITIES[item.quantity].unit,
            "at": None if item.at_ms is None else iso_utc(item.at_ms),
            "quality": item.quality,
            "reason": item.reason,
            "silent": item.silent,
        }

    return {
        "site": view.site,
        "at": iso_utc(view.now_ms),
        "all_well": view.all_well,
        "places": [
            {
                "id": place.id,
                "kind": place.kind,
                "name": place.name,
                "holds": None if place.holds is None else contents_json(place.holds),
                "rackings_not_finished": [racking_json(one) for one in place.rackings],
                "readings": [reading(item) for item in place.readings],
            }
            for place in view.places
        ],
        "alarms": [alarm_json(alarm) for alarm in view.alarms],
        "rejects": [
            {**row._asdict(), "first": iso_utc(row.first_ms), "last": iso_utc(row.last_ms)} for row in view.rejects
        ],
        "daemons": [
            {
                "role": daemon.role,
                "lives": daemon.lives,
                "last_sign": None if daemon.pulse is None else iso_utc(daemon.pulse.at_ms),
                "counters": None if daemon.pulse is None else daemon.pulse.body,
            }
            for daemon in view.daemons
        ],
        "cellar_file_is_newer": view.file_is_newer,
    }
