"""The cellar at one moment: places with their newest readings, alarms, rejected samples, and how the daemons are."""

from __future__ import annotations

__all__ = [
    "AlarmStatus",
    "CellarStatus",
    "DaemonStatus",
    "MutedStatus",
    "PlaceStatus",
    "ReadingStatus",
    "cellar_status",
    "muted_limits",
    "readings_at",
]

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from typing import Final, Literal

from alerts.blanket.details import blanket_shown
from alerts.limits.limits_now import limits_now
from alerts.so2.judge import is_upper_bound
from alerts.view.ring_lines import unconfirmed
from alerts.view.so2.so2_lines import TITRATED
from alerts.watch.alarm import AlarmState
from alerts.watch.alarm_table import State
from alerts.watch.chatter import Chatter
from alerts.watch.watch_state import LimitRecord, WatchStateUnreadable
from ingest.cellar import Cellar, EffectiveLimit, Vessel
from ingest.journal.contents import Contents
from ingest.journal.open_rackings import OpenRacking
from ingest.journal.supply import Supply
from ingest.judgement import Judgement
from ingest.machine_clock import EvenTime
from ingest.pulse import AlertsPulse, IngestPulse, MirrorPulse, Pulse
from ingest.reading import Quality, Reason, quality_class, quality_reason
from ingest.store import Store
from ingest.store.alarms.absences import Absence, absence_at
from ingest.store.alarms.alarm_record import alarm_rows
from ingest.store.alarms.messages import MessageRow, Undelivered, recent_messages, undelivered
from ingest.store.alarms.rings import Ring, rings
from ingest.store.journal.begun_rackings import begun_rackings
from ingest.store.journal.stored_ledger import contents_inside
from ingest.store.journal.supply_entries import supplies_inside
from ingest.store.judgements import newest_judgements
from ingest.store.pulse_rows import pulses
from ingest.store.readings.scales import scales, value_at
from ingest.store.readings.series import all_series
from ingest.store.readings.series_history import latest
from ingest.store.rejects import Reject, rejects
from ingest.store.trouble import store_trouble

# Readings of a later time than this are of a clock that was wrong; a probe's own clock may be a little ahead.
SOON_MS: Final = 10 * 60 * 1000


@dataclass(frozen=True, slots=True)
class ReadingStatus:
    """A probe's newest reading: value in the quantity's unit, its time and quality; all None while there is none.

    silent: nothing came for longer than the probe's no-data time.
    """

    probe: str
    quantity: str
    value: float | None
    at_ms: int | None
    quality: Literal["good", "uncertain", "bad"] | None
    reason: str
    silent: bool


@dataclass(frozen=True, slots=True)
class AlarmStatus:
    """An open occurrence.

    value and since as they were when it was raised, but of one on a rate value is the newest change while that is
    beyond the limit; limit is None if it has left the file; chatter: how often it came and went, while it chatters;
    finding: what explains it now, "" where nothing does; finding_since_ms: since when it holds, where that is known and
    earlier than the alarm; upper_bound: it is about SO2 of which no more is known than that it is at most so much.
    """

    key: str
    occurrence: str
    state: str
    at: str
    since_ms: int | None
    value: float | None
    last_value: float | None
    acknowledged_by: str | None
    limit: EffectiveLimit | None
    chatter: Chatter
    finding: str = ""
    finding_since_ms: int | None = None
    upper_bound: bool = False


@dataclass(frozen=True, slots=True)
class MutedStatus:
    """A limit that a person has shelved or taken out of service. alarm: with who, why and until when; active: its
    condition is true now; since_ms: since when its condition has been as it is, UTC ms, None where it never changed;
    limit: None if it has left the file.
    """

    key: str
    at: str
    alarm: AlarmState
    active: bool
    since_ms: int | None
    limit: EffectiveLimit | None


@dataclass(frozen=True, slots=True)
class PlaceStatus:
    """A place with the readings of its probes and its open alarms. contents: what a vessel holds, None of other places;
    open_rackings: of this vessel, begun and not finished; judgements: the newest of each name; supply: of gas, at a
    vessel.
    """

    id: str
    kind: str
    name: str
    readings: tuple[ReadingStatus, ...]
    alarms: tuple[AlarmStatus, ...]
    contents: Contents | None = None
    open_rackings: tuple[OpenRacking, ...] = ()
    judgements: tuple[Judgement, ...] = ()
    supply: Supply | None = None


@dataclass(frozen=True, slots=True)
class DaemonStatus:
    """Whether a daemon responds. pulse: its newest, None if it has never run on this store."""

    role: str
    responds: bool
    pulse: Pulse[IngestPulse] | Pulse[AlertsPulse] | None


@dataclass(frozen=True, slots=True)
class CellarStatus:
    """The whole cellar at now_ms. file_is_newer: the cellar file differs from the one that ingest runs with; mirror:
    None without one; undelivered: None while no mail is refused or held up; store_trouble: why the daemons cannot write
    the store, "" where they can; muted: limits that people have shelved or taken out of service; limits: every limit
    that is watched now, by key.
    """

    site: str
    now_ms: int
    places: tuple[PlaceStatus, ...]
    alarms: tuple[AlarmStatus, ...]
    daemons: tuple[DaemonStatus, ...]
    rejects: tuple[Reject, ...]
    messages: tuple[MessageRow, ...]
    file_is_newer: bool
    mirror: MirrorPulse | None
    undelivered: Undelivered | None
    store_trouble: str = ""
    muted: tuple[MutedStatus, ...] = ()
    limits: Mapping[str, EffectiveLimit] = field(default_factory=dict)
    absence: Absence | None = None
    rings: tuple[Ring, ...] = ()

    @property
    def all_well(self) -> bool:
        """Whether nothing is wrong: no alarm, no silent probe or daemon, the store takes writes and mail gets out."""
        readings = [reading for place in self.places for reading in place.readings]
        return (
            not self.alarms
            and self.undelivered is None
            and not self.store_trouble
            and all(daemon.responds for daemon in self.daemons)
            and not any(reading.silent for reading in readings)
        )


def cellar_status(cellar: Cellar, store: Store, now_ms: int, even: EvenTime | None = None) -> CellarStatus:
    """Read the cellar's status from the store; call inside ``store.read()``, so that all is of one moment.

    now_ms: UTC milliseconds; even: the same moment by the even clock, by which daemons are judged where it is given.
    """
    records = _records(store)
    limits = limits_now(cellar, store, now_ms)
    judgements = newest_judgements(store)
    alarms = tuple(_explained(alarm, judgements) for alarm in _alarms(limits, records))
    contents = contents_inside(store.connection, now_ms, cellar)
    open_rackings = [racking for racking in begun_rackings(store.connection) if racking.at_ms <= now_ms]
    supplies = supplies_inside(store.connection, cellar, now_ms)
    ingest, alerts = pulses(store)
    daemons = (
        DaemonStatus("ingest", ingest is not None and ingest.responds(now_ms, even), ingest),
        DaemonStatus("alerts", alerts is not None and alerts.responds(now_ms, even), alerts),
    )
    silences = _silences(cellar, records) if daemons[1].responds else {}
    readings = _readings(cellar, store, now_ms, silences, until_ms=now_ms + SOON_MS)
    places = tuple(
        PlaceStatus(
            place.id,
            cellar.place_kind(place.id),
            (place.name or "") if isinstance(place, Vessel) else "",
            tuple(readings[probe.id] for probe in cellar.probes_at(place.id)),
            tuple(alarm for alarm in alarms if alarm.at == place.id),
            contents.get(place.id) if isinstance(place, Vessel) else None,
            tuple(racking for racking in open_rackings if place.id in racking.vessels),
            tuple(judgement for judgement in judgements if judgement.place == place.id),
            supplies.get(place.id),
        )
        for place in cellar.places
    )
    digest = sha256(cellar.text.encode()).hexdigest()
    return CellarStatus(
        site=cellar.site.name,
        now_ms=now_ms,
        places=places,
        alarms=alarms,
        daemons=daemons,
        rejects=tuple(rejects(store)),
        messages=tuple(recent_messages(store, 10)),
        file_is_newer=ingest is not None and ingest.body.cellar_file_digest != digest,
        mirror=None if ingest is None else ingest.body.mirror,
        undelivered=undelivered(store, now_ms),
        rings=tuple(unconfirmed(rings(store), cellar)),
        store_trouble=store_trouble(store.path),
        muted=tuple(_muted(limits, records)),
        absence=absence_at(store.connection, now_ms),
        limits=limits,
    )


def muted_limits(limits: Mapping[str, EffectiveLimit], store: Store) -> list[MutedStatus]:
    """Read which of these limits, by key, people have shelved or taken out of service."""
    return _muted(limits, _records(store))


def readings_at(cellar: Cellar, store: Store, at_ms: int) -> dict[str, ReadingStatus]:
    """Read the newest reading of each probe at a time (UTC ms), by the probe's id; call inside ``store.read()``."""
    return _readings(cellar, store, at_ms, {}, until_ms=at_ms)


def _records(store: Store) -> dict[str, LimitRecord]:
    """Where each limit stands, by key. What cannot be read is left out: the alerts daemon says so when it starts."""
    records = {}
    for row in alarm_rows(store):
        try:
            records[row.key] = LimitRecord.from_json(row.entry, 0.0)
        except WatchStateUnreadable:
            continue
    return records


def _silences(cellar: Cellar, records: Mapping[str, LimitRecord]) -> dict[str, bool]:
    """By probe whether the alerts daemon found it silent, which counts from arrival and by no wall clock."""
    return {
        limit.probe: records[limit.key].track.active
        for limit in cellar.limits
        if limit.kind == "no data" and limit.key in records
    }


def _readings(
    cellar: Cellar, store: Store, now_ms: int, silences: Mapping[str, bool], until_ms: int
) -> dict[str, ReadingStatus]:
    """silences: as ``_silences``; of a probe that is missing there, the age of its newest reading decides."""
    known = {(row.probe, row.place, row.quantity): row for row in all_series(store)}
    series = {probe.id: known.get((probe.id, probe.at, probe.quantity)) for probe in cellar.probe}
    newest = latest(store, [row.id for row in series.values() if row is not None], until_ms)
    no_data_s = {limit.probe: limit.setpoint for limit in cellar.limits if limit.kind == "no data"}
    readings = {}
    for probe in cellar.probe:
        row = series[probe.id]
        reading = newest.get(row.id) if row is not None else None
        if row is None or reading is None:
            readings[probe.id] = ReadingStatus(probe.id, probe.quantity, None, None, None, "", silent=True)
            continue
        quality = quality_class(reading.quality)
        reason = quality_reason(reading.quality)
        readings[probe.id] = ReadingStatus(
            probe.id,
            probe.quantity,
            value_at(scales(store, row.id), reading.at_ms, reading.number),
            reading.at_ms,
            _QUALITY_WORDS[quality],
            "" if reason is Reason.NONE else reason.name.lower().replace("_", " "),
            silent=silences.get(probe.id, now_ms - reading.at_ms > no_data_s.get(probe.id, 120.0) * 1000),
        )
    return readings


_QUALITY_WORDS: Final[dict[Quality, Literal["good", "uncertain", "bad"]]] = {
    Quality.GOOD: "good",
    Quality.UNCERTAIN: "uncertain",
    Quality.BAD: "bad",
}


# Standing ones first: those that have returned only wait to be acknowledged.
_ORDER: Final = {State.UNACKNOWLEDGED: 0, State.ACKNOWLEDGED: 0, State.RETURNED: 1}
_PRIORITIES: Final = {"high": 0, "medium": 1, "low": 2}


def _alarms(limits: Mapping[str, EffectiveLimit], records: Mapping[str, LimitRecord]) -> list[AlarmStatus]:
    alarms = []
    for key, record in records.items():
        alarm, limit = record.alarm, limits.get(key)
        if alarm.occurrence is None or alarm.state not in _ORDER:
            continue
        value, finding = alarm.value, record.condition.finding
        if limit is not None and limit.kind == "rate":
            # Which way it changes goes with the newest change, not with the one that raised the alarm.
            newest = record.condition.value
            is_beyond = record.condition.active and newest is not None and newest > limit.setpoint
            value, finding = (newest, finding) if is_beyond else (value, "")
        alarms.append(
            AlarmStatus(
                key=key,
                occurrence=alarm.occurrence,
                state=alarm.state,
                at=limit.at if limit else key.split("/")[0],
                since_ms=alarm.since_ms,
                value=value,
                last_value=alarm.last_value,
                acknowledged_by=alarm.acknowledged_by,
                limit=limit,
                chatter=record.chatter,
                finding=finding,
            )
        )
    return sorted(
        alarms,
        key=lambda alarm: (
            _ORDER[State(alarm.state)],
            _PRIORITIES[alarm.limit.priority] if alarm.limit else len(_PRIORITIES),
            alarm.since_ms or 0,
        ),
    )


def _explained(alarm: AlarmStatus, judgements: Sequence[Judgement]) -> AlarmStatus:
    """The alarm with since when its finding holds, by how the gas at its place is judged now, and its upper bound."""
    since_ms, upper_bound = None, False
    for judgement in judgements:
        if judgement.place != alarm.at:
            continue
        shown = blanket_shown(judgement)
        if shown is not None and shown.finding == alarm.finding and shown.since_ms is not None:
            since_ms = shown.since_ms if alarm.since_ms is None or shown.since_ms < alarm.since_ms else None
    if alarm.limit is not None and alarm.limit.quantity in TITRATED:
        upper_bound = is_upper_bound(judgement for judgement in judgements if judgement.place == alarm.at)
    return replace(alarm, finding_since_ms=since_ms, upper_bound=upper_bound)


def _muted(limits: Mapping[str, EffectiveLimit], records: Mapping[str, LimitRecord]) -> list[MutedStatus]:
    return [
        MutedStatus(
            key=key,
            at=limits[key].at if key in limits else key.split("/")[0],
            alarm=record.alarm,
            active=record.track.active,
            since_ms=record.track.since_ms,
            limit=limits.get(key),
        )
        for key, record in records.items()
        if record.alarm.shelving is not None or record.alarm.out_of_service is not None
    ]
