"""Which parts of leeside are well: by ingest's pulse, the newest backup, judges' answers, what channels have taken."""

from __future__ import annotations

__all__ = [
    "BACKUP_MISSED_MS",
    "LOG_BYTES",
    "MIRROR_BEHIND_MS",
    "backup_health",
    "channel_health",
    "health_of_pulse",
    "judge_health",
]

from collections.abc import Iterable, Mapping
from typing import Final

from alerts.watch.own_limits import (
    BACKUP,
    BROKER,
    CLOCK,
    DISK,
    INGEST,
    LOG,
    MIRROR,
    babbling_key,
    channel_key,
    judge_key,
    line_key,
)
from ingest.pulse import IngestPulse, JudgePulse, MirrorPulse

# A log is folded back at 4 MB. A cellar takes hours to write this much; no look of ours lasts so long.
LOG_BYTES: Final = 128_000_000
# Three nights without one are not an accident; docs/operations.md states this number.
BACKUP_MISSED_MS: Final = 3 * 86_400_000
# A server that is set up again for a day, or a year that is sent for the first time, is not a fault; docs/operations.md
# states this number.
MIRROR_BEHIND_MS: Final = 86_400_000


def health_of_pulse(at_ms: int, pulse: IngestPulse, probes: Iterable[str] = ()) -> dict[str, int]:
    """The keys of the limits on those parts that were well at at_ms (UTC ms), when the pulse was written.

    probes: those that may babble.
    """
    well = {
        INGEST: True,
        CLOCK: pulse.clock == "right",
        DISK: not pulse.disk_alarming,
        LOG: pulse.store_log_bytes < LOG_BYTES,
        MIRROR: pulse.mirror is not None and _keeps_up(pulse.mirror, at_ms),
        BROKER: pulse.mqtt is not None and pulse.mqtt.connected,
        **{line_key(name): line.open for name, line in pulse.lines.items()},
        **{babbling_key(probe): probe not in pulse.babbling for probe in probes},
    }
    return {key: at_ms for key, is_well in well.items() if is_well}


def _keeps_up(mirror: MirrorPulse, at_ms: int) -> bool:
    """Whether it was up to date within the last day; nobody knows until it has begun."""
    if mirror.state == "starting":
        return False
    return mirror.behind_since_ms is None or at_ms - mirror.behind_since_ms <= MIRROR_BEHIND_MS


def backup_health(now_ms: int, newest_ms: int | None, watched_since_ms: int) -> dict[str, int]:
    """The key of the limit on backups, while they are well at now_ms.

    newest_ms: when the newest was made; watched_since_ms: when backups were first asked for; UTC ms.
    """
    return {BACKUP: now_ms} if now_ms - max(newest_ms or 0, watched_since_ms) <= BACKUP_MISSED_MS else {}


def channel_health(now_ms: int, channels: Iterable[str], failing: Iterable[str]) -> dict[str, int]:
    """The keys of the limits on those channels that are well at now_ms: nothing waits that they have not taken."""
    return {channel_key(channel): now_ms for channel in set(channels).difference(failing)}


def judge_health(now_ms: int, judges: Mapping[str, JudgePulse]) -> dict[str, int]:
    """The keys of the limits on those judges that are well at now_ms: the last answer came, and none is overdue."""
    return {
        judge_key(name): now_ms
        for name, judge in judges.items()
        if judge.last_ms is not None and judge.last_error is None and not judge.overdue_s
    }
