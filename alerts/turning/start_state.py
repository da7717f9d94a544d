"""The state of the watch at a start: what the store keeps of it, and how long limits on silence had heard nothing."""

from __future__ import annotations

__all__ = ["away_s", "state_at_start"]

from collections.abc import Mapping
from typing import Final

from alerts.turning.rate_windows import stored_windows
from alerts.turning.reading_feed import ReadingFeed
from alerts.watch.turn import Watch
from alerts.watch.turn_inputs import Now
from alerts.watch.watch_state import WatchState
from ingest.cellar import EffectiveLimit
from ingest.pulse import AlertsPulse, Pulse
from ingest.store import Store
from ingest.store.alarms.alarm_record import alarm_rows
from ingest.store.change_feed import cursor
from ingest.store.readings.undated import KNOWN

# A restart is as quick as this where the daemon died or was started again at once.
QUICK_RESTART_S: Final = 20.0
# After the machine was off, what is slow has at least so long to be heard before its silence is alarmed.
AFTER_BOOT_S: Final = 600.0


def state_at_start(
    store: Store,
    watch: Watch,
    limits: Mapping[str, EffectiveLimit],
    series_of: Mapping[str, int],
    feed: ReadingFeed,
    judged_id: int,
    pulse: Pulse[AlertsPulse] | None,
    now: Now,
) -> WatchState:
    """Read the state that goes on where it was.

    watch, limits: what is watched from now on; series_of: by probe; feed: of readings; judged_id: the last row that was
    judged; pulse: the last one of this daemon.
    """
    known_ms = cursor(store, KNOWN) or 0
    newest = feed.newest(judged_id, now.utc_ms, known_ms)
    rows = {row.key: row.entry for row in alarm_rows(store)}
    state = WatchState.from_rows(rows, now, newest, _silences(limits, pulse, now), known_ms)
    return state.with_windows(stored_windows(store, watch, limits.values(), series_of, newest))


def away_s(pulse: Pulse[AlertsPulse] | None, now: Now) -> float:
    """For how long no turn was made before this start, by the last pulse, in seconds; 0 if there was none."""
    if pulse is None:
        return 0.0
    if now.even is None or pulse.beat.even is None or (passed_s := now.even.since(pulse.beat.even)) is None:
        return (now.utc_ms - pulse.at_ms) / 1000
    return passed_s


def _silences(limits: Mapping[str, EffectiveLimit], pulse: Pulse[AlertsPulse] | None, now: Now) -> dict[str, float]:
    """For how long each limit on silence had heard nothing when the last pulse was written, seconds."""
    if pulse is None:
        return {}
    silences = pulse.body.silent_s
    passed_s = None if now.even is None or pulse.beat.even is None else now.even.since(pulse.beat.even)
    if passed_s is not None:
        # After a quick restart silence goes on; after a longer one what is read may have been away as well.
        more_s = passed_s if passed_s <= QUICK_RESTART_S else 0.0
        return {key: silent_s + more_s for key, silent_s in silences.items()}
    # The machine was off: what it reads has a while to be there again.
    return {
        key: min(silent_s, limits[key].setpoint - AFTER_BOOT_S)
        for key, silent_s in silences.items()
        if key in limits and limits[key].setpoint > AFTER_BOOT_S
    }
