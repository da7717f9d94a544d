"""A limit on the rate of change: more than so much, up or down, within so much time.

The readings of the limit's probe become readings of the change up to each of them (``change_window``), and those are
judged by the rules of ``level``, as of a high limit. So:

* The alarm is raised once the change is beyond the setpoint, and ends when it has faded to less than the setpoint minus
  the deadband: at the latest when the time in which it counts has passed since.
* A reading that is not good says nothing and restarts the delays. A late one is passed over.
* After a gap a small change means nothing until the whole time has been seen again: missing data never clears an alarm.
  A large one counts at once, also over a gap, if it lies within the time.

What the window remembers is not in the alarm record, which would be written with every reading. After a restart it is
filled again from stored readings (``remembered``).
"""

from __future__ import annotations

__all__ = ["FALLING", "RISING", "judge", "remembered"]

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from alerts.watch import level
from alerts.watch.change_window import ChangeWindow
from alerts.watch.condition import Condition
from alerts.watch.level import LevelTrack
from alerts.watch.turn_inputs import WatchReading, counts_as_data, is_in_doubt, may_be_judged
from ingest.cellar import EffectiveLimit
from ingest.reading import Quality, Reason, quality_code

RISING: Final = "rising"
FALLING: Final = "falling"

# As of a probe that reports a fault: it holds the state and restarts delays.
_SAYS_NOTHING: Final = quality_code(Quality.BAD, Reason.FAULT)


def judge(
    track: LevelTrack, limit: EffectiveLimit, readings: Sequence[WatchReading], *, fresh_s: float, mono: float
) -> tuple[LevelTrack, list[Condition]]:
    """Take readings of the limit's probe, in the order in which they came; otherwise as ``level.judge``.

    The value of a condition is the size of the change, its finding ``RISING`` or ``FALLING``.
    """
    window, changes = _changes(track.window or ChangeWindow(), limit, readings, fresh_s=fresh_s)
    after, conditions = level.judge(track, limit, changes, fresh_s=fresh_s, mono=mono)
    return replace(after, window=window), conditions


def remembered(limit: EffectiveLimit, readings: Iterable[WatchReading], *, fresh_s: float) -> ChangeWindow:
    """Fill a window with readings that were judged before."""
    window, _ = _changes(ChangeWindow(), limit, readings, fresh_s=fresh_s)
    return window


def _changes(
    window: ChangeWindow, limit: EffectiveLimit, readings: Iterable[WatchReading], *, fresh_s: float
) -> tuple[ChangeWindow, list[WatchReading]]:
    within_ms, fresh_ms = limit.within_s * 1000, fresh_s * 1000
    changes: list[WatchReading] = []
    for reading in readings:
        if not counts_as_data(reading.quality) or is_in_doubt(reading.quality):
            continue
        if window.newest_ms is not None and reading.at_ms < window.newest_ms:
            continue
        change = None
        if may_be_judged(reading.value, reading.quality):
            window, change = window.after(reading.at_ms, reading.value, within_ms=within_ms, fresh_ms=fresh_ms)
        if change is None or not (change.is_whole or abs(change.by) > limit.setpoint):
            changes.append(reading._replace(value=math.nan, quality=_SAYS_NOTHING))
        else:
            finding = RISING if change.by > 0 else FALLING
            changes.append(reading._replace(value=abs(change.by), finding=finding))
    return window, changes
