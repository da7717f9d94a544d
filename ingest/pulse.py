"""The pulse: the mark that each daemon leaves in the store every 15 seconds, with what it does and how its parts are.

The store writes and reads it (``ingest.store.pulse_rows``); this file knows no store.

Keys of the stored JSON are the fields here. The reader may be of another version than the writer: a key that is missing
or makes no sense takes its default, and a key that is not known here is kept as it came.
"""

from __future__ import annotations

__all__ = [
    "PULSE_S",
    "RESPONDS_S",
    "AlertsPulse",
    "BackupPulse",
    "Beat",
    "BrokerPulse",
    "ChipPulse",
    "HeartbeatPulse",
    "IngestPulse",
    "JudgePulse",
    "LinePulse",
    "MirrorPulse",
    "Pulse",
    "Pulses",
    "RetainedSample",
]

from typing import Any, Generic, NamedTuple, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    ValidationError,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    field_validator,
)

from ingest.machine_clock import EvenTime

# Each one costs an SD card a commit, and with it goes all that waits: tests/benchmarks/card.py.
PULSE_S = 15.0

# Two pulses missed, and a little for a slow disk.
RESPONDS_S = 2 * PULSE_S + 5


class _Document(BaseModel):
    """A pulse or a part of one."""

    model_config = ConfigDict(frozen=True, extra="allow")

    @field_validator("*", mode="wrap")
    @classmethod
    def _or_default(cls, value: object, handler: ValidatorFunctionWrapHandler, info: ValidationInfo) -> Any:
        try:
            return handler(value)
        except ValidationError:
            return cls.model_fields[info.field_name or ""].get_default(call_default_factory=True)


class BrokerPulse(_Document):
    """How things stand with the broker; its counts are those of ``MqttState``. for_s: how long it has been so."""

    connected: bool = False
    subscribed: bool = True
    for_s: float = 0.0
    protocol: str = ""
    last_error: str = ""
    refused_topics: tuple[str, ...] = ()


class LinePulse(_Document):
    """How things stand with a serial line; its counts are those of ``SerialState``. for_s: how long it has been so."""

    open: bool = False
    for_s: float = 0.0
    last_error: str = ""


class ChipPulse(_Document):
    """How things stand with a one-wire chip; its counts are those of ``ChipState``. for_s: how long it has been so."""

    open: bool = False
    for_s: float = 0.0
    last_error: str = ""


class MirrorPulse(_Document):
    """How the mirror does.

    state: ``starting``, ``up to date``, ``catching up``, ``waiting`` for a server that is away or busy, or ``shut``
    while it will not have us; for_s: how long it has been so; behind: changes of the feed not taken up; spans,
    oldest_unsent_ms: readings that were put off; records: alarm changes, entries and strikes not sent; newest_sent_ms:
    time of the newest reading sent since the start; sent, refused, left_out: lines since the start, readings without a
    line; behind_since_ms: since when (UTC ms) something has been unsent, kept through restarts, None while it is up to
    date.
    """

    state: str = ""
    for_s: float = 0.0
    behind: int = 0
    spans: int = 0
    records: int = 0
    oldest_unsent_ms: int | None = None
    newest_sent_ms: int | None = None
    sent: int = 0
    refused: int = 0
    left_out: int = 0
    last_error: str | None = None
    behind_since_ms: int | None = None


class RetainedSample(_Document):
    """What the broker had kept of a probe: the payload as text, and when it came (UTC ms). Shown, never stored."""

    found: str = ""
    at_ms: int = 0


class IngestPulse(_Document):
    """What the ingest daemon reports of itself.

    The counts are those since its start; waiting: samples that are not on disk yet; clock: right, waiting or unknown;
    retained, lines, chips: by the id of the probe, line or chip; babbling: probe -> readings
    that were too many since the pulse before; mqtt, mirror: None where the cellar file has none;
    disk_low: too little room; disk_alarming: for so long, or so little, that it is an alarm;
    store_log_bytes: of SQLite's log beside the store. The disk's numbers are missing where the system does not give
    them.
    """

    cellar_file_digest: str = ""
    samples: int = 0
    readings: int = 0
    repeats: int = 0
    refused: int = 0
    dropped: int = 0
    commits: int = 0
    failed_commits: int = 0
    waiting: int = 0
    clock: str = "right"
    retained: dict[str, RetainedSample] = {}
    babbling: dict[str, int] = {}
    mqtt: BrokerPulse | None = None
    lines: dict[str, LinePulse] = {}
    mirror: MirrorPulse | None = None
    chips: dict[str, ChipPulse] = {}
    store_log_bytes: int = 0
    disk_free_bytes: int = 0
    disk_total_bytes: int = 0
    disk_low: bool = False
    disk_alarming: bool = False


class BackupPulse(_Document):
    """The scheduled backup. last_ms: when the newest one was made, UTC ms; last_error: why the last try failed."""

    last_ms: int | None = None
    last_error: str | None = None


class JudgePulse(_Document):
    """How a judge does. last_ms: when it answered last, UTC ms, None if never; took_s: how long the last answer took;
    overdue_s: for how long it has been working on one, where that is too long; last_error: why it failed, None if it
    did not.
    """

    last_ms: int | None = None
    took_s: float = 0.0
    overdue_s: float = 0.0
    last_error: str | None = None


class HeartbeatPulse(_Document):
    """How the heartbeat does. sent_ms: when the last one was taken, UTC ms, None if never; held_back: what does not
    work, so that none is sent, "" where all does; last_error: why it could not be sent, "" where it could.
    """

    sent_ms: int | None = None
    held_back: str = ""
    last_error: str = ""


class AlertsPulse(_Document):
    """What the alerts daemon reports of itself.

    silent_s: the key of a limit on silence -> for how many seconds it has heard nothing, of those that have not for a
    while and are not alarmed; backup, heartbeat: missing where the cellar file asks for none; judges: by name; lamps:
    the id of a channel of kind mqtt -> why it does not show the alarms, "" where it does.
    """

    limits: int = 0
    judged_until_row: int = 0
    waiting_messages: int = 0
    silent_s: dict[str, float] = {}
    backup: BackupPulse | None = None
    judges: dict[str, JudgePulse] = {}
    lamps: dict[str, str] = {}
    heartbeat: HeartbeatPulse | None = None


Body = TypeVar("Body", bound=_Document)


class Beat(NamedTuple):
    """What distinguishes one pulse from another and shows its age, whatever the wall clock says.

    counter: one more with each pulse of the daemon, also over restarts, 0 in a store of an older version; even: when it
    was written, None there.
    """

    counter: int = 0
    even: EvenTime | None = None


class Pulse(NamedTuple, Generic[Body]):
    """The newest pulse of a daemon. at_ms: when it was written; started_ms: when the daemon started; UTC ms."""

    at_ms: int
    pid: int
    started_ms: int
    body: Body
    beat: Beat = Beat()

    def responds(self, now_ms: int, even: EvenTime | None = None) -> bool:
        """Whether the daemon works: its pulse is young enough.

        even: now by the even clock, which decides where the pulse carries such a time; a pulse of another boot is of a
        daemon that has ended. now_ms (UTC ms) decides where either is unknown.
        """
        if even is not None and even.boot and self.beat.even is not None:
            age_s = even.since(self.beat.even)
            return age_s is not None and age_s < RESPONDS_S
        return now_ms - self.at_ms < RESPONDS_S * 1000

    def as_json(self) -> dict[str, object]:
        """Give the body with the keys that it was written with."""
        return self.body.model_dump(mode="json", exclude_unset=True)


class Pulses(NamedTuple):
    """The newest pulse of each daemon, None where it has never run on this store."""

    ingest: Pulse[IngestPulse] | None = None
    alerts: Pulse[AlertsPulse] | None = None
