"""How leeside's own parts are: its daemons, broker, lines, clock, disk, mirror, backup, judges and mail."""

from __future__ import annotations

__all__ = ["OwnPart", "own_parts"]

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from alerts.view.absence_lines import absence_line, stands_in
from alerts.view.format import counted
from alerts.view.judge_lines import judge_line
from alerts.view.mail_lines import undelivered_head, undelivered_line
from alerts.view.mirror_lines import mirror_lines
from alerts.view.ring_lines import ring_line
from alerts.view.status import CellarStatus, DaemonStatus
from alerts.watch.own_health import LOG_BYTES
from ingest.cellar import Cellar
from ingest.pulse import AlertsPulse, BrokerPulse, HeartbeatPulse, IngestPulse

_MIRROR_IS_WELL = ("starting", "up to date", "catching up")


@dataclass(frozen=True, slots=True)
class OwnPart:
    """A part of leeside and how it is. name: "broker", "line bench-line"; line: a whole line for people; in_order:
    whether nobody needs to do anything about it.
    """

    name: str
    line: str
    in_order: bool


def own_parts(status: CellarStatus, cellar: Cellar, when: Callable[[int], str]) -> list[OwnPart]:
    """Say how each part is, those above the others first. when: says a moment (UTC ms), such as "4 s ago"."""
    return list(_parts(status, cellar, when))


def _parts(status: CellarStatus, cellar: Cellar, when: Callable[[int], str]) -> Iterator[OwnPart]:
    trouble = status.store_trouble
    if trouble:
        yield OwnPart("store", f"the store takes NO WRITES: {trouble}", False)
    for daemon in status.daemons:
        yield from _daemon_parts(daemon, status.now_ms, trouble, _heard_ms(status, cellar), when)
    if status.undelivered is not None:
        head = undelivered_head(status.undelivered)
        yield OwnPart("mail", f"{head}: {undelivered_line(status.undelivered, status.now_ms)}", False)
    for ring in status.rings:
        yield OwnPart("messages", ring_line(ring, cellar, status.now_ms), False)
    if status.absence is not None:
        line = absence_line(status.absence, cellar, status.now_ms)
        yield OwnPart("messages", f"messages: {line}", stands_in(status.absence, cellar))
    if status.file_is_newer:
        what = "the cellar file has changed since leeside started; restart leeside to use the new one"
        yield OwnPart("cellar file", what, False)


def _heard_ms(status: CellarStatus, cellar: Cellar) -> int:
    """When the newest reading was taken that came through the broker [UTC ms]; 0 for none."""
    topics = {probe.id for probe in cellar.probe if probe.topic is not None}
    readings = (reading for place in status.places for reading in place.readings if reading.probe in topics)
    return max((reading.at_ms or 0 for reading in readings), default=0)


def _daemon_parts(
    daemon: DaemonStatus, now_ms: int, store_trouble: str, heard_ms: int, when: Callable[[int], str]
) -> Iterator[OwnPart]:
    pulse = daemon.pulse
    if pulse is None:
        yield OwnPart(daemon.role, f"{daemon.role} has never run on this store", False)
        return
    state = "runs" if daemon.responds else "cannot report" if store_trouble else "is NOT RESPONDING"
    heard, started = when(pulse.at_ms), when(pulse.started_ms)
    line = f"{daemon.role} {state} (last heard from {heard}, started {started})"
    yield OwnPart(daemon.role, line, daemon.responds)
    body = pulse.body
    if isinstance(body, IngestPulse):
        yield from _ingest_parts(body, now_ms, heard_since=heard_ms > pulse.at_ms)
    else:
        yield from _alerts_parts(body, now_ms, when)


def _ingest_parts(pulse: IngestPulse, now_ms: int, *, heard_since: bool) -> Iterator[OwnPart]:
    """heard_since: whether the broker has delivered readings since the pulse, which is older than they are."""
    if pulse.mqtt is not None:
        yield from _broker_parts(pulse.mqtt, heard_since=heard_since)
    for name, line in pulse.lines.items():
        state = "open" if line.open else line.last_error or "not open yet"
        yield OwnPart(f"line {name}", f"line {name}: {state}", line.open)
    if pulse.clock != "right":
        what = (
            "the machine's clock is behind what is already stored, or has just jumped ahead; times are estimates until "
            "it is right. `leeside check FILE --clock` says more"
        )
        yield OwnPart("clock", what, False)
    for probe, sample in pulse.retained.items():
        what = f"{probe}: the broker had kept '{sample.found}', of unknown age; shown here, not stored"
        yield OwnPart(probe, what, True)
    for name, chip in pulse.chips.items():
        if not chip.open:
            yield OwnPart(f"chip {name}", f"chip {name}: {chip.last_error or 'not read yet'}", False)
    if pulse.disk_low:
        free_mb, total_mb = pulse.disk_free_bytes / 1e6, pulse.disk_total_bytes / 1e6
        what = f"store: the disk is nearly full, {free_mb:.0f} MB of {total_mb:.0f} MB are free"
        yield OwnPart("disk", what, False)
    if pulse.store_log_bytes >= LOG_BYTES:
        log_mb = pulse.store_log_bytes / 1e6
        what = f"store: its log has grown to {log_mb:.0f} MB, some program keeps an old state of it open"
        yield OwnPart("store", what, False)
    if pulse.mirror is not None:
        is_well = pulse.mirror.state in _MIRROR_IS_WELL
        yield from (OwnPart("mirror", f"mirror: {words}", is_well) for words in mirror_lines(pulse.mirror, now_ms))


def _broker_parts(broker: BrokerPulse, *, heard_since: bool) -> Iterator[OwnPart]:
    if heard_since and not broker.connected:
        yield OwnPart("broker", "broker: connected since then", True)
    elif broker.connected:
        yield OwnPart("broker", f"broker: connected, {broker.protocol}", True)
        if not broker.subscribed:
            what = "broker: has not answered our subscriptions yet; until then nothing is read"
            yield OwnPart("broker", what, False)
    else:
        yield OwnPart("broker", f"broker: {broker.last_error or 'not connected yet'}", False)
    for topic in broker.refused_topics:
        yield OwnPart("broker", f"broker: does not let us read {topic}", False)


def _alerts_parts(pulse: AlertsPulse, now_ms: int, when: Callable[[int], str]) -> Iterator[OwnPart]:
    if pulse.backup is not None:
        last_ms = pulse.backup.last_ms
        last = "none yet" if last_ms is None else f"the last one {when(last_ms)}"
        yield OwnPart("backup", f"backup: {last}", True)
        if pulse.backup.last_error:
            yield OwnPart("backup", f"backup: the last try failed: {pulse.backup.last_error}", False)
    if pulse.heartbeat is not None:
        yield _heartbeat_part(pulse.heartbeat, when)
    for name, judge in pulse.judges.items():
        if line := judge_line(name, judge, now_ms):
            yield OwnPart(f"judge {name}", line, False)
    for lamp, trouble in pulse.lamps.items():
        if trouble:
            yield OwnPart(f"channel {lamp}", f"channel {lamp}: {trouble}", False)
    if pulse.waiting_messages:
        waits = "waits" if pulse.waiting_messages == 1 else "wait"
        yield OwnPart("messages", f"{counted(pulse.waiting_messages, 'message')} {waits} to be sent", True)


def _heartbeat_part(heartbeat: HeartbeatPulse, when: Callable[[int], str]) -> OwnPart:
    last = "none yet" if heartbeat.sent_ms is None else f"the last one {when(heartbeat.sent_ms)}"
    if heartbeat.held_back:
        return OwnPart("heartbeat", f"heartbeat: held back, since {heartbeat.held_back}; {last}", False)
    if heartbeat.last_error:
        return OwnPart("heartbeat", f"heartbeat: cannot be sent: {heartbeat.last_error}; {last}", False)
    return OwnPart("heartbeat", f"heartbeat: {last}", True)
