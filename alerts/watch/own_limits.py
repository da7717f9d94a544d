"""Limits on leeside itself: that probes are read, broker and serial lines reached, disk, backup and mirror in order.

The ingest daemon's pulse counts as a reading of these, so one rule, one alarm table and one outbox serve
them too. What fails at the root suppresses what follows from it: a broker that is gone is one message, not one for
each probe.
"""

from __future__ import annotations

__all__ = [
    "BACKUP",
    "BROKER",
    "CLOCK",
    "DISK",
    "INGEST",
    "LOG",
    "LOG_BYTES",
    "MIRROR",
    "MIRROR_BEHIND_MS",
    "OWN_WORDS",
    "OwnWords",
    "good_of",
    "good_probe",
    "line_probe",
    "readings_of_backup",
    "readings_of_pulse",
    "watched_limits",
]

from dataclasses import replace
from typing import Final, NamedTuple

from alerts.watch.turn_inputs import WatchReading
from ingest.cellar import Cellar, EffectiveLimit
from ingest.pulse import IngestPulse, MirrorPulse

INGEST: Final = "ingest"
BROKER: Final = "broker"
CLOCK: Final = "clock"
# With a blank, which no probe's id has.
DISK: Final = "store disk"
LOG: Final = "store log"
BACKUP: Final = "store backup"
MIRROR: Final = "store mirror"


class OwnWords(NamedTuple):
    """How a message speaks of something that is not right, rather than silent: tail of its subject (``{span}``: for how
    long), the first sentence when it is raised, and what is said when it is right again."""

    tail: str
    raised: str
    returned: str


OWN_WORDS: Final[dict[str, OwnWords]] = {
    CLOCK: OwnWords(
        "not right for {span}",
        "the machine's clock has not been right for more than {span}.",
        "the machine's clock is right again, and readings carry true times.",
    ),
    DISK: OwnWords(
        "nearly full",
        "the disk that holds the store is nearly full, for more than {span}.",
        "there is enough room on the store's disk again.",
    ),
    LOG: OwnWords(
        "cannot be folded",
        "the log beside the store has grown large, and has not shrunk for more than {span}.",
        "the log beside the store is of its usual size again.",
    ),
    BACKUP: OwnWords(
        "none for 3 d",
        "there has been no backup of the store for three days.",
        "the store has been backed up again.",
    ),
    MIRROR: OwnWords(
        "behind for a day",
        "for a day the mirror has not had everything that is stored.",
        "the mirror has everything that is stored again.",
    ),
}

# Six missed pulses. Shorter than the shortest no-data time of a probe (120 s), so that the root speaks first.
INGEST_SILENCE_S: Final = 60.0
SOURCE_SILENCE_S: Final = 100.0
# Longer than a backup or an import fills the disk on its way.
DISK_LOW_S: Final = 600.0
# A log is folded back at 4 MB. A cellar takes hours to write this much; no look of ours lasts so long.
LOG_BYTES: Final = 128_000_000
# Three nights without one are no slip; docs/operations.md tells this number.
BACKUP_MISSED_MS: Final = 3 * 86_400_000
# A server that is set up anew for a day, or a year that is sent for the first time, is no fault; docs/operations.md
# tells this number.
MIRROR_BEHIND_MS: Final = 86_400_000
# Longer than a request to the mirror may take: at a start the mirror tells how it does only after the first one.
MIRROR_SILENCE_S: Final = 600.0
# Longer than any single slip, jump or power-on value; a fault that stays this long is a fault.
BAD_INTERVALS: Final = 10.0
BAD_SHORTEST_S: Final = 600.0


def line_probe(line: str) -> str:
    """What stands for a serial line where a probe is expected."""
    return f"line {line}"


_GOOD: Final = " (good readings)"


def good_probe(probe: str) -> str:
    """What stands for the good readings of a probe where a probe is expected."""
    return probe + _GOOD


def good_of(name: str) -> str:
    """The probe behind ``good_probe``, or the name itself."""
    return name.removesuffix(_GOOD)


def watched_limits(cellar: Cellar) -> dict[str, EffectiveLimit]:
    """Every limit that the turn judges, by key: the cellar's, and those on leeside itself."""
    own = [_own("leeside/ingest", INGEST, INGEST_SILENCE_S, None, _NOT_READ, _LOOK_AT_MACHINE)]
    own.append(_own("leeside/clock", CLOCK, SOURCE_SILENCE_S, own[0].key, _TIMES_UNKNOWN, _LOOK_AT_CLOCK))
    own.append(_own("leeside/disk", DISK, DISK_LOW_S, own[0].key, _DISK_FILLS, _MAKE_ROOM))
    own.append(_own("leeside/log", LOG, DISK_LOW_S, own[0].key, _LOG_GROWS, _END_THE_READER))
    if cellar.backup is not None:
        action = _LOOK_AT_BACKUP % cellar.backup_folder
        own.append(_own("leeside/backup", BACKUP, SOURCE_SILENCE_S, None, _NO_WAY_BACK, action))
    if cellar.mirror is not None:
        action = _LOOK_AT_MIRROR % cellar.mirror.url
        made = _own("leeside/mirror", MIRROR, MIRROR_SILENCE_S, own[0].key, _NOT_MIRRORED, action)
        own.append(replace(made, priority="low"))
    source_of = {}
    topics = [probe for probe in cellar.probe if probe.topic is not None]
    if topics and cellar.mqtt is not None:
        where = f"{cellar.mqtt.host}:{cellar.mqtt.port}"
        own.append(
            _own("leeside/broker", BROKER, SOURCE_SILENCE_S, own[0].key, _blind(len(topics)), _LOOK_AT_BROKER % where)
        )
        source_of.update({probe.id: "leeside/broker" for probe in topics})
    for line in cellar.serial:
        probes = [probe for probe in cellar.probe if probe.serial == line.id]
        if not probes:
            continue
        key = f"leeside/line {line.id}"
        action = _LOOK_AT_LINE % line.device
        own.append(_own(key, line_probe(line.id), SOURCE_SILENCE_S, own[0].key, _blind(len(probes)), action))
        source_of.update({probe.id: key for probe in probes})
    limits = {limit.key: limit for limit in own}
    every = {probe.id: probe.every_s for probe in cellar.probe}
    for limit in cellar.limits:
        root = source_of.get(limit.probe) if limit.kind == "no data" else None
        limits[limit.key] = limit if root is None else replace(limit, suppressed_by=root)
        if limit.kind == "no data":
            bad = _bad_measurement(limit, every[limit.probe])
            limits[bad.key] = bad
    return limits


def _bad_measurement(silence: EffectiveLimit, every_s: float) -> EffectiveLimit:
    """The limit on a probe that reports and cannot be trusted; pointless while it does not report at all."""
    head, _, tail = silence.key.rpartition("no-data")
    key = f"{head}bad-measurement{tail}" if head else f"{silence.key}/bad-measurement"
    return replace(
        silence,
        key=key,
        probe=good_probe(silence.probe),
        setpoint=max(BAD_INTERVALS * every_s, BAD_SHORTEST_S, silence.setpoint),
        consequence=f"The limits of {silence.at} that rest on {silence.probe} are not judged: an alarm would not come.",
        action=f"`leeside now` says what is wrong with its readings. Look at {silence.probe}, its cable and its "
        "supply; read by hand until it is right.",
        unit_text="s",
        role="bad measurement",
        origin="default",
        suppressed_by=silence.key,
    )


def readings_of_pulse(at_ms: int, pulse: IngestPulse) -> list[WatchReading]:
    """What a pulse of the ingest daemon says about itself and its sources."""
    readings = [WatchReading(INGEST, at_ms, 1.0)]
    if pulse.clock == "right":
        readings.append(WatchReading(CLOCK, at_ms, 1.0))
    if not pulse.disk_low:
        readings.append(WatchReading(DISK, at_ms, 1.0))
    if pulse.store_log_bytes < LOG_BYTES:
        readings.append(WatchReading(LOG, at_ms, 1.0))
    if pulse.mirror is not None and _mirror_keeps_up(pulse.mirror, at_ms):
        readings.append(WatchReading(MIRROR, at_ms, 1.0))
    if pulse.mqtt is not None and pulse.mqtt.connected:
        readings.append(WatchReading(BROKER, at_ms, 1.0))
    readings += [WatchReading(line_probe(name), at_ms, 1.0) for name, line in pulse.lines.items() if line.open]
    return readings


def _mirror_keeps_up(mirror: MirrorPulse, at_ms: int) -> bool:
    """Whether it was up to date within the last day; nobody knows until it has begun."""
    if mirror.state == "starting":
        return False
    return mirror.behind_since_ms is None or at_ms - mirror.behind_since_ms <= MIRROR_BEHIND_MS


def readings_of_backup(now_ms: int, newest_ms: int | None, watched_since_ms: int) -> list[WatchReading]:
    """What the newest backup says about itself. newest_ms: when it was made; watched_since_ms: when backups were first
    asked for; UTC ms."""
    if now_ms - max(newest_ms or 0, watched_since_ms) > BACKUP_MISSED_MS:
        return []
    return [WatchReading(BACKUP, now_ms, 1.0)]


def _own(
    key: str, probe: str, silence_s: float, suppressed_by: str | None, consequence: str, action: str
) -> EffectiveLimit:
    return EffectiveLimit(
        key=key,
        kind="no data",
        at="leeside",
        quantity=probe,
        probe=probe,
        setpoint=silence_s,
        deadband=0.0,
        on_delay_s=0.0,
        off_delay_s=0.0,
        priority="high" if probe == INGEST else "medium",
        hours="any",
        consequence=consequence,
        action=action,
        unit_text="s",
        origin="default",
        suppressed_by=suppressed_by,
    )


def _blind(probes: int) -> str:
    return f"Nobody sees what {'one probe' if probes == 1 else f'{probes} probes'} would say."


_NOT_READ: Final = "No probe is being read: nobody sees what the cellar does."
_LOOK_AT_MACHINE: Final = (
    "Look at the machine that runs leeside: `leeside now` and its log say more. Until it reads again, look by hand."
)
_TIMES_UNKNOWN: Final = (
    "The machine's clock is behind what is stored already: readings carry estimated times until it is right."
)
_LOOK_AT_CLOCK: Final = (
    "See whether the machine reaches its time server, and whether its battery clock, if it has one, is alive. Alarms "
    "go on meanwhile; times in messages may be wrong."
)
_LOOK_AT_BROKER: Final = (
    "See whether the broker at %s runs and can be reached; `leeside now` says what it answered. Until then, read "
    "by hand."
)
_DISK_FILLS: Final = (
    "Once the disk is full nothing is stored and no alarm is raised. Readings by MQTT at QoS 1 then wait at the "
    "broker; others are lost after a while."
)
_MAKE_ROOM: Final = (
    "Free some space on the disk that holds the store: `leeside now` says how much is left. Move old backups "
    "elsewhere, and look at the system's logs (`journalctl --disk-usage`). Never delete the store or its -wal file."
)
_LOG_GROWS: Final = "Some program holds on to an old look at the store, so its log grows until the disk is full."
_END_THE_READER: Final = (
    "Find the program that reads the store, such as a forgotten sqlite3 shell (`fuser -v` on the store's file names "
    "it), and end it. Nothing is lost; the log shrinks by itself."
)
_NO_WAY_BACK: Final = "If the disk fails now, everything since the last backup is gone."
_LOOK_AT_BACKUP: Final = (
    "See whether %s is there and has room; `leeside now` says why the last backup failed, and `leeside backup` makes "
    "one at once."
)
_NOT_MIRRORED: Final = (
    "Charts that are drawn from the mirror miss what came since. The store has it all, and no alarm rests on the "
    "mirror."
)
_LOOK_AT_MIRROR: Final = (
    "`leeside now` says what the server at %s answered and how much is left; `leeside check --live` tries it at once. "
    "Once it takes what is sent, the rest follows by itself."
)
_LOOK_AT_LINE: Final = (
    "Look at the plug, the cable and the power of the line at %s; `leeside now` says more. Until then, read by hand."
)
