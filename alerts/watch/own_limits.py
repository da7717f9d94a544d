"""Limits on leeside itself: that probes are read, broker, lines and rooms reached, disk, backup and mirror in order.

Each is a limit on silence without a probe: what is heard is that its part was well (``own_health``). So one rule, one
alarm table and one outbox serve these limits too. What fails at the root suppresses what follows from it: a broker that
is gone is one message, not one for each probe. So is a room whose probes fall silent together (``room_silence``).
"""

from __future__ import annotations

__all__ = [
    "BACKUP",
    "BROKER",
    "CLOCK",
    "DISK",
    "INGEST",
    "JUDGES",
    "LOG",
    "MIRROR",
    "OwnWords",
    "babbling_key",
    "channel_key",
    "channels_in_use",
    "is_babbling",
    "judge_key",
    "line_key",
    "own_words",
    "room_key",
    "watched_limits",
]

from collections.abc import Iterator
from dataclasses import replace
from typing import Final, NamedTuple

from ingest.cellar import Cellar, EffectiveLimit, Hours, Priority, Role, Room, WinePlaces

# The keys of the limits.
INGEST: Final = "leeside/ingest"
BROKER: Final = "leeside/broker"
CLOCK: Final = "leeside/clock"
DISK: Final = "leeside/disk"
LOG: Final = "leeside/log"
BACKUP: Final = "leeside/backup"
MIRROR: Final = "leeside/mirror"
_BABBLING_HEAD: Final = "leeside/babbling "
_JUDGE_HEAD: Final = "leeside/judge "
_CHANNEL_HEAD: Final = "leeside/channel "

# The judges whose answers limits wait for: those of ``alerts.judging.judges``, by name.
JUDGES: Final[tuple[str, ...]] = ("so2", "total", "gas", "cylinders")
_ROOM_HEAD: Final = "leeside/room "


class OwnWords(NamedTuple):
    """How a message speaks of a part of leeside: the tail of its subject, the sentence when it is raised, and the one
    when it is right again. ``{part}`` stands for the part's name, ``{span}`` for how long.
    """

    tail: str
    raised: str
    returned: str

    @property
    def state(self) -> str:
        """What is wrong, without for how long."""
        return self.tail.removesuffix(" for {span}")


_NOT_RESPONDING: Final = OwnWords(
    "not responding for {span}", "{part} has not responded for more than {span}.", "{part} responds again."
)
_OWN_WORDS: Final[dict[str, OwnWords]] = {
    CLOCK: OwnWords(
        "not right for {span}",
        "the machine's clock has not been right for more than {span}.",
        "the machine's clock is right again, and readings carry true times.",
    ),
    DISK: OwnWords(
        "nearly full",
        "the disk that holds the store is nearly full.",
        "there is enough room on the store's disk again.",
    ),
    LOG: OwnWords(
        "too large for {span}",
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

_BABBLING: Final = OwnWords(
    "babbling for {span}",
    "{part} has sent far more readings than it should for more than {span}.",
    "{part} no longer sends too many readings.",
)

_ROOM_SILENT: Final = OwnWords(
    "nothing heard",
    "{part} is silent: its probes stopped at about the same time.",
    "{part} is heard again.",
)

_NO_ANSWER: Final = OwnWords(
    "no answer for {span}",
    "{part} has not answered for more than {span}. Limits on what it works out stay as they are.",
    "{part} answers again.",
)

_CHANNEL_FAILS: Final = OwnWords(
    "failing for {span}",
    "messages have not got out by {part} for more than {span}.",
    "nothing waits for {part} any more: it works again, or what waited was given up.",
)

# What each priority may do: only a high one wakes.
_HOURS: Final[dict[Priority, Hours]] = {"high": "any", "medium": "waking", "low": "digest"}
# Four missed pulses. Shorter than the shortest no-data time of a probe (120 s), so that the root speaks first.
INGEST_SILENCE_S: Final = 60.0
SOURCE_SILENCE_S: Final = 100.0
# Longer than a backup or an import fills the disk on its way.
LOG_LARGE_S: Final = 600.0
# Three pulses: the ten minutes in which a disk may be low on its way are counted by ingest (``disk_space``), which
# leaves them out when nearly nothing is left.
DISK_ALARMING_S: Final = 30.0
# Longer than a request to the mirror may take: at a start the mirror reports only after the first one.
MIRROR_SILENCE_S: Final = 600.0
# Long enough for a mail server that greylists, which asks for another try after about five minutes.
CHANNEL_SILENCE_S: Final = 600.0
# As old as an answer may be for a limit to be judged by it.
JUDGE_SILENCE_S: Final = 1800.0
# Longer than any single slip, jump or power-on value; a fault that stays this long is a fault.
BAD_INTERVALS: Final = 10.0
BAD_SHORTEST_S: Final = 600.0


def line_key(line: str) -> str:
    """The key of the limit on a serial line."""
    return f"leeside/line {line}"


def babbling_key(probe: str) -> str:
    """The key of the limit on a probe that sends far more readings than it should."""
    return f"{_BABBLING_HEAD}{probe}"


def judge_key(judge: str) -> str:
    """The key of the limit on a judge that does not answer."""
    return f"{_JUDGE_HEAD}{judge}"


def channel_key(channel: str) -> str:
    """The key of the limit on a channel that messages go out by."""
    return f"{_CHANNEL_HEAD}{channel}"


def channels_in_use(cellar: Cellar) -> list[str]:
    """The ids of the channels that somebody is reached by, and of those that show the alarms to a lamp or a siren."""
    shown = [channel.id for channel in cellar.channel if channel.kind == "mqtt"]
    return list(dict.fromkeys([*(recipient.channel for recipient in cellar.recipients), *shown]))


def is_babbling(key: str) -> bool:
    """Whether a limit is on a probe that sends far more readings than it should."""
    return key.startswith(_BABBLING_HEAD)


def room_key(room: str) -> str:
    """The key of the limit on a room whose probes fall silent together."""
    return f"{_ROOM_HEAD}{room}"


def own_words(limit: EffectiveLimit) -> OwnWords | None:
    """How a message speaks of a part of leeside; None for a limit on anything else."""
    if limit.probe:
        return None
    if limit.role == "room":
        return _ROOM_SILENT
    if limit.key.startswith(_JUDGE_HEAD):
        return _NO_ANSWER
    if limit.key.startswith(_CHANNEL_HEAD):
        return _CHANNEL_FAILS
    return _BABBLING if is_babbling(limit.key) else _OWN_WORDS.get(limit.key, _NOT_RESPONDING)


def watched_limits(cellar: Cellar, wine: WinePlaces | None = None) -> dict[str, EffectiveLimit]:
    """Every limit that the turn judges, by key: those on leeside itself, and the cellar's.

    wine: where it lies; None leaves out the limits on wine.
    """
    limits = {limit.key: limit for limit in (*_own_limits(cellar), *_room_limits(cellar))}
    probes = {probe.id: probe for probe in cellar.probe}
    rooms = _rooms(cellar)
    for limit in cellar.limits if wine is None else cellar.limits_with(wine):
        if limit.kind != "no data":
            limits[limit.key] = limit
            continue
        probe = probes[limit.probe]
        source = BROKER if probe.topic is not None else line_key(probe.serial) if probe.serial is not None else None
        room = rooms.get(probe.at)
        causes = (INGEST, source, None if room is None else room_key(room), babbling_key(probe.id))
        explained_by = tuple(cause for cause in causes if cause is not None and cause in limits)
        limits[limit.key] = replace(limit, suppressed_by=explained_by, every_s=probe.every_s)
        bad = _bad_measurement(limit, probe.every_s)
        limits[bad.key] = bad
    return limits


def _own_limits(cellar: Cellar) -> Iterator[EffectiveLimit]:
    yield _own(INGEST, "ingest", INGEST_SILENCE_S, _NOT_READ, _LOOK_AT_MACHINE, priority="high", suppressed_by=())
    yield _own(CLOCK, "clock", SOURCE_SILENCE_S, _TIMES_UNKNOWN, _LOOK_AT_CLOCK)
    yield _own(DISK, "store disk", DISK_ALARMING_S, _DISK_FILLS, _MAKE_ROOM)
    yield _own(LOG, "store log", LOG_LARGE_S, _LOG_GROWS, _END_THE_READER)
    for judge in JUDGES:
        # Judges work in the alerts daemon, beside the turn.
        yield _own(
            judge_key(judge), f"judge {judge}", JUDGE_SILENCE_S, _NOT_WORKED_OUT, _LOOK_AT_JUDGE, suppressed_by=()
        )
    if cellar.backup is not None:
        # Backups are made by the alerts daemon itself, so no silence of ingest explains that there is none.
        action = _LOOK_AT_BACKUP % cellar.backup_folder
        yield _own(BACKUP, "store backup", SOURCE_SILENCE_S, _NO_WAY_BACK, action, suppressed_by=())
    if cellar.mirror is not None:
        action = _LOOK_AT_MIRROR % cellar.mirror.url
        yield _own(MIRROR, "store mirror", MIRROR_SILENCE_S, _NOT_MIRRORED, action, priority="low")
    channels = channels_in_use(cellar)
    # With a single one there is none by which its failure could be reported; `leeside now` shows it.
    lamps = {channel.id for channel in cellar.channel if channel.kind == "mqtt"}
    watches_broker = cellar.mqtt is not None and any(probe.topic is not None for probe in cellar.probe)
    for channel in channels if len(channels) > 1 else ():
        is_lamp = channel in lamps
        yield _own(
            channel_key(channel),
            f"channel {channel}",
            CHANNEL_SILENCE_S,
            _UNSEEN if is_lamp else _UNHEARD,
            _LOOK_AT_CHANNEL % channel,
            priority="medium" if is_lamp else "high",
            suppressed_by=(BROKER,) if is_lamp and watches_broker else (),
        )
    topics = sum(probe.topic is not None for probe in cellar.probe)
    if topics and cellar.mqtt is not None:
        action = _LOOK_AT_BROKER % f"{cellar.mqtt.host}:{cellar.mqtt.port}"
        yield _own(BROKER, "broker", SOURCE_SILENCE_S, _blind(topics), action)
    for probe in cellar.probe:
        action = _LOOK_AT_BABBLER % (probe.id, f"{probe.every_s:g} s")
        yield _own(babbling_key(probe.id), f"probe {probe.id}", SOURCE_SILENCE_S, _CUT, action)
    for line in cellar.serial:
        probes = sum(probe.serial == line.id for probe in cellar.probe)
        if probes:
            action = _LOOK_AT_LINE % line.device
            yield _own(line_key(line.id), f"line {line.id}", SOURCE_SILENCE_S, _blind(probes), action)


def _room_limits(cellar: Cellar) -> Iterator[EffectiveLimit]:
    """The limits on rooms with two probes or more."""
    rooms = _rooms(cellar)
    silences: dict[str, list[EffectiveLimit]] = {}
    for limit in cellar.limits:
        if limit.kind == "no data" and limit.at in rooms:
            silences.setdefault(rooms[limit.at], []).append(limit)
    for room, limits in silences.items():
        probes = {limit.probe for limit in limits}
        if len(probes) > 1:
            yield _own(
                room_key(room),
                f"room {room}",
                min(limit.setpoint for limit in limits),
                _blind(len(probes)),
                _LOOK_AT_ROOM,
                priority="high" if any(limit.priority == "high" for limit in limits) else "medium",
                role="room",
            )


def _rooms(cellar: Cellar) -> dict[str, str]:
    """The room that each place is, or stands in."""
    return {place.id: room for place in cellar.places if (room := place.id if isinstance(place, Room) else place.room)}


def _own(
    key: str,
    part: str,
    silence_s: float,
    consequence: str,
    action: str,
    *,
    priority: Priority = "medium",
    suppressed_by: tuple[str, ...] = (INGEST,),
    role: Role = "",
) -> EffectiveLimit:
    return EffectiveLimit(
        key=key,
        kind="no data",
        at="leeside",
        quantity=part,
        probe="",
        setpoint=silence_s,
        deadband=0.0,
        on_delay_s=0.0,
        off_delay_s=0.0,
        priority=priority,
        hours=_HOURS[priority],
        consequence=consequence,
        action=action,
        unit_text="s",
        role=role,
        origin="default",
        suppressed_by=suppressed_by,
    )


def _bad_measurement(silence: EffectiveLimit, every_s: float) -> EffectiveLimit:
    """The limit on a probe that reports and cannot be trusted; pointless while it does not report at all."""
    head, _, tail = silence.key.rpartition("no-data")
    key = f"{head}bad-measurement{tail}" if head else f"{silence.key}/bad-measurement"
    return replace(
        silence,
        key=key,
        setpoint=max(BAD_INTERVALS * every_s, BAD_SHORTEST_S, silence.setpoint),
        consequence=f"The limits of {silence.at} that rest on {silence.probe} are not judged: an alarm would not come.",
        action=f"`leeside now` says what is wrong with its readings. Look at {silence.probe}, its cable and its "
        "supply; read by hand until it is right.",
        unit_text="s",
        role="bad measurement",
        origin="default",
        suppressed_by=(silence.key, babbling_key(silence.probe)),
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
    "Once the disk is full nothing is stored, and only alarms of high priority are still sent. Readings by MQTT at "
    "QoS 1 then wait at the broker; others are lost after a while."
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
_NOT_WORKED_OUT: Final = "What rests on its numbers is not judged: an alarm would not come."
_LOOK_AT_JUDGE: Final = (
    "`leeside now` and the log say why it fails. An entry that cannot be right, or a store that is damaged, can be the "
    "cause (`leeside check --store`); else restart leeside."
)
_UNHEARD: Final = "People who have only this channel get neither this alarm nor any other."
_UNSEEN: Final = "The lamp or siren shows what was before: it stays dark or silent in an alarm, or goes on after one."
_LOOK_AT_CHANNEL: Final = (
    "`leeside now` says what it answered, and `leeside check --live` tries it. Look at the network first, then at the "
    "password or secret of %s. What waits goes out by itself once it works; until then, call the others yourself."
)
_CUT: Final = (
    "What it sends beyond five readings a second is counted and not stored, so that it neither fills the disk nor "
    "holds up other probes. Its newest readings may be missing."
)
_LOOK_AT_BABBLER: Final = (
    "Look at %s: restart it, and see what it sends with `leeside listen`. If it is meant to read so often, say so by "
    "`every` in its [[probe]] table, which is %s now."
)
_NOT_MIRRORED: Final = (
    "Charts that are drawn from the mirror miss what came since. The store has it all, and no alarm rests on the "
    "mirror."
)
_LOOK_AT_MIRROR: Final = (
    "`leeside now` says what the server at %s answered and how much is left; `leeside check --live` tries it at once. "
    "Once it takes what is sent, the rest follows by itself."
)
_LOOK_AT_ROOM: Final = (
    "Look at the room's power first: fuse, plugs and supplies; then at its network. Until its probes report again, "
    "read by hand."
)
_LOOK_AT_LINE: Final = (
    "Look at the plug, the cable and the power of the line at %s; `leeside now` says more. Until then, read by hand."
)
