"""`leeside now`: every place as it is now, the alarms, and how leeside is."""

from __future__ import annotations

__all__ = ["now"]

from collections.abc import Mapping
from typing import Final

from alerts.command.now_cards import show_cards
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import AsOf, File, Json, OneVessel, as_of_ms
from alerts.command.terminal import print_plain
from alerts.so2.vessel_so2 import VesselSo2, so2_inside
from alerts.so2.vessel_total import VesselTotal, totals_inside
from alerts.view.alarm_lines import alarm_json, alarm_line
from alerts.view.blanket_lines import blanket_json, blanket_line, blanket_of
from alerts.view.cylinder_lines import cylinder_json, cylinder_lines, cylinder_of
from alerts.view.format import age, counted, local_time
from alerts.view.judge_lines import judge_line
from alerts.view.mail_lines import undelivered_head, undelivered_line
from alerts.view.mirror_lines import mirror_lines
from alerts.view.muted_lines import muted_json, muted_line
from alerts.view.racking_lines import racking_json, racking_line
from alerts.view.reading_lines import reading_json, reading_line
from alerts.view.so2_lines import so2_json, so2_line
from alerts.view.status import CellarStatus, DaemonStatus, PlaceStatus, cellar_status
from alerts.view.supply_lines import supply_json, supply_line
from alerts.view.total_so2_lines import total_so2_json
from alerts.view.vessel_contents import contents_json, contents_line
from alerts.watch.own_health import LOG_BYTES
from ingest.cellar import Cellar
from ingest.json_text import json_text
from ingest.machine_clock import even_time
from ingest.process import wall_ms
from ingest.pulse import AlertsPulse, BrokerPulse, IngestPulse
from ingest.store.alarms.messages import Undelivered
from ingest.times import iso_utc

EXAMPLE: Final = "leeside now cellar.toml"


def now(file: File, vessel: OneVessel = None, at: AsOf = None, as_json: Json = False) -> int:
    """Show every place as it is now. Exit code 1 while there is an alarm, something is silent, or mail is held up.

    With a VESSEL or --at: what vessels held, read and had as SO2 at a time, by what had happened until then.
    """
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store), store.read():
        if vessel is not None or at is not None:
            show_cards(cellar, store, vessel, as_of_ms(at, cellar.site.zone, now_ms), now_ms, as_json=as_json)
            return 0
        status = cellar_status(cellar, store, now_ms, even_time())
        so2 = so2_inside(cellar, store, now_ms)
        totals = totals_inside(cellar, store, now_ms) if as_json else {}
    if as_json:
        print(json_text(_as_json(status, cellar, so2, totals), indent=2))
    else:
        _print(status, cellar, so2)
    return 0 if status.all_well else 1


def _print(status: CellarStatus, cellar: Cellar, so2: Mapping[str, VesselSo2]) -> None:
    zone, units, now_ms = cellar.site.zone, cellar.site.units, status.now_ms
    print_plain(f"{status.site}, {local_time(now_ms, zone, now_ms)}")
    for place in status.places:
        _print_place(place, cellar, so2.get(place.id), now_ms)
    print_plain("\nAlarms")
    for alarm in status.alarms:
        print_plain("  " + alarm_line(alarm, zone, units, now_ms))
    if not status.alarms:
        print_plain("  none")
    if status.muted:
        print_plain("\nMuted")
    for muted in status.muted:
        print_plain("  " + muted_line(muted, zone, now_ms))
    if status.rejects:
        print_plain("\nNot understood")
        for reject in status.rejects[:20]:
            print_plain(
                f"  {reject.times} x {reject.reason}: {reject.probe or 'no probe'}, {reject.source} {reject.address}, "
                f"last {age(now_ms - reject.last_ms)} ago: {reject.example}"
            )
    print_plain("\nLeeside")
    for line in _leeside_lines(status, cellar):
        print_plain("  " + line)


def _print_place(place: PlaceStatus, cellar: Cellar, so2: VesselSo2 | None, now_ms: int) -> None:
    zone, units = cellar.site.zone, cellar.site.units
    print_plain(f"\n{place.id}  ({place.name or place.kind})")
    if place.contents is not None:
        print_plain("  " + contents_line(place.contents, zone, units, now_ms, with_free=so2 is None))
    if so2 is not None:
        print_plain("  " + so2_line(so2, zone))
    if (blanket := blanket_of(place.judgements, now_ms)) is not None:
        print_plain("  " + blanket_line(blanket, zone, units, now_ms))
    if place.supply is not None and (supply := supply_line(place.supply, zone, now_ms)):
        print_plain("  " + supply)
    if (cylinder := cylinder_of(place.judgements, now_ms)) is not None:
        for line in cylinder_lines(cylinder, zone, units, now_ms):
            print_plain("  " + line)
    for racking in place.open_rackings:
        print_plain("  " + racking_line(racking, zone, now_ms))
    if not place.readings:
        print_plain("  no probe")
    for reading in place.readings:
        print_plain("  " + reading_line(reading, units, now_ms))


def _leeside_lines(status: CellarStatus, cellar: Cellar) -> list[str]:
    trouble = status.store_trouble
    lines = [f"the store takes NO WRITES: {trouble}"] if trouble else []
    for daemon in status.daemons:
        lines += _daemon_lines(daemon, status.now_ms, trouble, _heard_ms(status, cellar))
    if status.undelivered is not None:
        lines.append(f"{undelivered_head(status.undelivered)}: {undelivered_line(status.undelivered, status.now_ms)}")
    if status.file_is_newer:
        lines.append("the cellar file has changed since leeside started; restart leeside to use the new one")
    return lines


def _heard_ms(status: CellarStatus, cellar: Cellar) -> int:
    """When the newest reading was taken that came through the broker [UTC ms]; 0 for none."""
    topics = {probe.id for probe in cellar.probe if probe.topic is not None}
    readings = (reading for place in status.places for reading in place.readings if reading.probe in topics)
    return max((reading.at_ms or 0 for reading in readings), default=0)


def _daemon_lines(daemon: DaemonStatus, now_ms: int, store_trouble: str, heard_ms: int) -> list[str]:
    pulse = daemon.pulse
    if pulse is None:
        return [f"{daemon.role} has never run on this store"]
    state = "runs" if daemon.responds else "cannot report" if store_trouble else "is NOT RESPONDING"
    heard, started = age(now_ms - pulse.at_ms), age(now_ms - pulse.started_ms)
    line = f"{daemon.role} {state} (last heard of {heard} ago, started {started} ago)"
    body = pulse.body
    if isinstance(body, IngestPulse):
        return [line, *_ingest_lines(body, now_ms, heard_since=heard_ms > pulse.at_ms)]
    return [line, *_alerts_lines(body, now_ms)]


def _ingest_lines(pulse: IngestPulse, now_ms: int, *, heard_since: bool) -> list[str]:
    """heard_since: whether the broker has delivered readings since the pulse, which is older than they are."""
    lines = [] if pulse.mqtt is None else _broker_lines(pulse.mqtt, heard_since=heard_since)
    for name, line in pulse.lines.items():
        lines.append(f"line {name}: " + ("open" if line.open else line.last_error or "not open yet"))
    if pulse.clock != "right":
        lines.append(
            "the machine's clock is behind what is already stored, or has just jumped ahead; times are estimates until "
            "it is right. `leeside check FILE --clock` says more"
        )
    for probe, sample in pulse.retained.items():
        lines.append(f"{probe}: the broker had kept '{sample.found}', of unknown age; shown here, not stored")
    lines += [
        f"chip {name}: {chip.last_error or 'not read yet'}" for name, chip in pulse.chips.items() if not chip.open
    ]
    if pulse.disk_low:
        free_mb, total_mb = pulse.disk_free_bytes / 1e6, pulse.disk_total_bytes / 1e6
        lines.append(f"store: the disk is nearly full, {free_mb:.0f} MB of {total_mb:.0f} MB are free")
    if pulse.store_log_bytes >= LOG_BYTES:
        log_mb = pulse.store_log_bytes / 1e6
        lines.append(f"store: its log has grown to {log_mb:.0f} MB, some program keeps an old state of it open")
    if pulse.mirror is not None:
        lines += [f"mirror: {line}" for line in mirror_lines(pulse.mirror, now_ms)]
    return lines


def _broker_lines(broker: BrokerPulse, *, heard_since: bool) -> list[str]:
    if heard_since and not broker.connected:
        lines = ["broker: connected since then"]
    elif broker.connected:
        lines = [f"broker: connected, {broker.protocol}"]
        if not broker.subscribed:
            lines.append("broker: has not answered our subscriptions yet; until then nothing is read")
    else:
        lines = [f"broker: {broker.last_error or 'not connected yet'}"]
    return [*lines, *(f"broker: does not let us read {topic}" for topic in broker.refused_topics)]


def _alerts_lines(pulse: AlertsPulse, now_ms: int) -> list[str]:
    lines = []
    if pulse.backup is not None:
        last_ms = pulse.backup.last_ms
        lines.append("backup: " + ("none yet" if last_ms is None else f"the last one {age(now_ms - last_ms)} ago"))
        if pulse.backup.last_error:
            lines.append(f"backup: the last try failed: {pulse.backup.last_error}")
    lines += [line for name, judge in pulse.judges.items() if (line := judge_line(name, judge, now_ms))]
    if pulse.waiting_messages:
        waits = "waits" if pulse.waiting_messages == 1 else "wait"
        lines.append(f"{counted(pulse.waiting_messages, 'message')} {waits} to be sent")
    return lines


def _as_json(
    status: CellarStatus, cellar: Cellar, so2: Mapping[str, VesselSo2], totals: Mapping[str, VesselTotal]
) -> dict[str, object]:
    return {
        "site": status.site,
        "at": iso_utc(status.now_ms),
        "all_well": status.all_well,
        "store_trouble": status.store_trouble or None,
        "places": [
            _place_json(place, cellar, so2.get(place.id), totals.get(place.id), status.now_ms)
            for place in status.places
        ],
        "alarms": [alarm_json(alarm, status.now_ms) for alarm in status.alarms],
        "muted": [muted_json(muted) for muted in status.muted],
        "rejects": [
            {**reject._asdict(), "first": iso_utc(reject.first_ms), "last": iso_utc(reject.last_ms)}
            for reject in status.rejects
        ],
        "daemons": [_daemon_json(daemon) for daemon in status.daemons],
        "mail": None if status.undelivered is None else _mail_json(status.undelivered),
        "cellar_file_is_newer": status.file_is_newer,
    }


def _mail_json(mail: Undelivered) -> dict[str, object]:
    return {
        "not_sent": mail.messages,
        "since": iso_utc(mail.since_ms),
        "tries": mail.attempts,
        "last_error": mail.error,
        "channel": mail.channel,
    }


def _place_json(
    place: PlaceStatus, cellar: Cellar, so2: VesselSo2 | None, total: VesselTotal | None, now_ms: int
) -> dict[str, object]:
    return {
        "id": place.id,
        "kind": place.kind,
        "name": place.name,
        "holds": None if place.contents is None else contents_json(place.contents),
        "rackings_not_finished": [racking_json(racking) for racking in place.open_rackings],
        "readings": [reading_json(reading) for reading in place.readings],
        "so2": None if so2 is None else so2_json(so2, cellar.site.zone),
        "total_so2": None if total is None else total_so2_json(total),
        "blanket": None if (shown := blanket_of(place.judgements, now_ms)) is None else blanket_json(shown),
        "gas_supply": None if place.supply is None else supply_json(place.supply),
        "cylinder": None if (cylinder := cylinder_of(place.judgements, now_ms)) is None else cylinder_json(cylinder),
    }


def _daemon_json(daemon: DaemonStatus) -> dict[str, object]:
    return {
        "role": daemon.role,
        "lives": daemon.responds,
        "last_sign": None if daemon.pulse is None else iso_utc(daemon.pulse.at_ms),
        "counters": None if daemon.pulse is None else daemon.pulse.as_json(),
    }
