"""A limit on silence: how long a probe may send nothing.

Silence is monotonic time since a reading of the probe was last seen, so no clock step can make or hide it; at
start-up every probe has the whole time once more. Any reading ends the silence, a bad one too, for other limits speak
about quality. An imported reading and a late one (older than the newest seen) do not: neither shows that the probe is
alive.
"""

from __future__ import annotations

__all__ = ["SilenceTrack", "granted_anew", "hear", "tick"]

from collections.abc import Sequence
from dataclasses import dataclass, replace

from alerts.watch.condition import Condition
from alerts.watch.limit import EffectiveLimit
from alerts.watch.turn_inputs import Now, WatchReading, counts_as_data


@dataclass(frozen=True, slots=True)
class SilenceTrack:
    """active: whether the probe is silent for too long; since_ms: when that silence began, or ended, UTC
    milliseconds; seen_mono: when a reading was last seen (or the watch began), monotonic seconds; newest_ms: that
    reading's own time.
    """

    active: bool = False
    since_ms: int | None = None
    seen_mono: float = 0.0
    newest_ms: int | None = None


def hear(
    track: SilenceTrack, limit: EffectiveLimit, readings: Sequence[WatchReading], *, mono: float
) -> tuple[SilenceTrack, list[Condition]]:
    """Take readings of the limit's probe; mono: the turn's monotonic time in seconds."""
    newest, first = track.newest_ms, None
    for reading in readings:
        if counts_as_data(reading.quality) and (newest is None or reading.at_ms >= newest):
            newest = reading.at_ms
            first = newest if first is None else first
    if first is None:
        return track, []
    if not track.active:
        return replace(track, seen_mono=mono, newest_ms=newest), []
    return SilenceTrack(False, first, mono, newest), [Condition(limit.key, False, first, None)]


def tick(track: SilenceTrack, limit: EffectiveLimit, *, now: Now) -> tuple[SilenceTrack, Condition | None]:
    """Begin the condition once the silence is longer than the setpoint (seconds)."""
    silence_s = now.mono - track.seen_mono
    if track.active or not silence_s > limit.setpoint:
        return track, None
    since = now.utc_ms - round(silence_s * 1000)
    if track.newest_ms is not None and track.newest_ms < since:
        since = track.newest_ms  # leeside was not running for a part of the silence
    return replace(track, active=True, since_ms=since), Condition(limit.key, True, since, silence_s)


def granted_anew(track: SilenceTrack, now: Now) -> SilenceTrack:
    """The track of a probe that could not be heard until now and has its whole time once more."""
    return replace(track, active=False, since_ms=now.utc_ms, seen_mono=now.mono)
