"""A limit on silence: how long a probe may send nothing, or nothing good.

Silence is monotonic time since the probe was last heard, so no clock step can make or hide it; at start-up every probe
has the whole time once more. Any reading that came over the wire ends the silence, whatever its own time, and also a
bad one; only a limit on bad measurement waits for a good one. An imported reading does not end it: it does not show
that the probe is alive. A limit on a part of leeside has no probe; it hears the times at which that part was well.
"""

from __future__ import annotations

__all__ = ["SilenceTrack", "granted_again", "hear", "judge", "next_look", "run_out", "tick"]

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from alerts.watch.condition import Condition
from alerts.watch.limit import Rule
from alerts.watch.turn_inputs import Now, WatchReading, counts_as_data, may_be_judged
from ingest.cellar import EffectiveLimit


@dataclass(frozen=True, slots=True)
class SilenceTrack:
    """active: whether the probe is silent for too long; since_ms: when that silence began, or ended, UTC
    milliseconds; seen_mono: when it was last heard (or the watch began), monotonic seconds; newest_ms: newest
    own time heard, None when that was before a restart.
    """

    active: bool = False
    since_ms: int | None = None
    seen_mono: float = 0.0
    newest_ms: int | None = None


def judge(
    track: SilenceTrack, limit: EffectiveLimit, readings: Sequence[WatchReading], *, mono: float
) -> tuple[SilenceTrack, list[Condition]]:
    """Take readings of the limit's probe; mono: the turn's monotonic time in seconds."""
    heard = [reading for reading in readings if counts_as_data(reading.quality)]
    if limit.role == "bad measurement":
        heard = [reading for reading in heard if may_be_judged(reading.value, reading.quality)]
    return hear(track, limit, [reading.at_ms for reading in heard], mono=mono)


def hear(
    track: SilenceTrack, limit: EffectiveLimit, times_ms: Iterable[int], *, mono: float
) -> tuple[SilenceTrack, list[Condition]]:
    """Take the times (UTC milliseconds) of what was heard, in the order in which it came; mono: as for ``judge``."""
    heard = list(times_ms)
    if not heard:
        return track, []
    newest = max(heard) if track.newest_ms is None else max(track.newest_ms, *heard)
    if not track.active:
        return SilenceTrack(False, track.since_ms, mono, newest), []
    # A backlog's own time may lie before the silence; the silence did not end before it began.
    since = heard[0] if track.since_ms is None else max(heard[0], track.since_ms)
    return SilenceTrack(False, since, mono, newest), [Condition(limit.key, False, since, None)]


def tick(track: SilenceTrack, limit: EffectiveLimit, *, now: Now) -> tuple[SilenceTrack, Condition | None]:
    """Begin the condition once the silence is longer than the setpoint (seconds)."""
    if track.active or not now.mono - track.seen_mono > limit.setpoint:
        return track, None
    return run_out(track, limit.key, now)


def run_out(track: SilenceTrack, key: str, now: Now) -> tuple[SilenceTrack, Condition]:
    """Begin the condition: the silence since it was last heard is too long."""
    silence_s = now.mono - track.seen_mono
    since = now.utc_ms - round(silence_s * 1000)
    if track.newest_ms is not None and track.newest_ms < since:
        since = track.newest_ms  # leeside was not running for a part of the silence
    return replace(track, active=True, since_ms=since), Condition(key, True, since, silence_s)


def next_look(track: SilenceTrack, rule: Rule) -> float | None:
    """Give the monotonic second after which ``tick`` begins the condition, None while it is true."""
    return None if track.active else track.seen_mono + rule.setpoint


def granted_again(track: SilenceTrack, now: Now) -> SilenceTrack:
    """The track of a probe that could not be heard until now and has its whole time once more."""
    return replace(track, active=False, since_ms=now.utc_ms, seen_mono=now.mono)
