"""One low or high limit, judged reading by reading. (A limit on a rate is judged so too, by changes: ``rate``.)

The rules, for a high limit with setpoint L, deadband d, on-delay a and off-delay b (a low limit is the mirror image);
the words are those of IEC 62682, the choices are this project's:

* The condition begins when v > L has held for a, and ends when v < L - d has held for b. Equality does neither. Any
  good reading on the wrong side of the comparison restarts the delay.
* Delays run in the readings' own time: from the reading that first showed the change to a later reading that still
  does. So that a slow probe does not postpone the alarm, ``tick`` lets a delay run out on the monotonic clock as
  well, but only while the newest reading is fresh. A probe whose clock is wrong is judged rightly, since each kind of
  time is only ever compared with itself.
* A saturated reading whose value is beyond the setpoint counts as beyond it: the true value lies at least as far out.
  On the safe side it says nothing, like any other that is not good.
* A reading that is not good holds the state and restarts both delays. So does a gap in the readings' own time that is
  longer than the probe's no-data time: nobody knows what happened in it. Missing data never ends a condition.
* A reading older than the newest one seen is late: stored, not judged. Imported readings are not judged.
* While the journal quiets a limit (``held_back``) its condition may end, but not begin, and no on-delay runs. So the
  on-delay begins with the first reading after.
"""

from __future__ import annotations

__all__ = ["LevelTrack", "held_back", "judge", "next_look", "tick", "unmoved"]

from collections.abc import Sequence
from dataclasses import dataclass, replace

from alerts.watch.change_window import ChangeWindow
from alerts.watch.condition import Condition
from alerts.watch.good_run import GoodRun
from alerts.watch.limit import Rule
from alerts.watch.turn_inputs import WatchReading, counts_as_data, is_in_doubt, is_saturated, may_be_judged
from ingest.cellar import EffectiveLimit


@dataclass(frozen=True, slots=True)
class LevelTrack:
    """How far a low or high limit has come.

    active: whether the condition is; since_ms: own time of the reading that began or ended it; pending_ms: own time
    of the reading that started the delay now running, None when none runs; pending_mono: when that reading was seen,
    monotonic seconds; newest_ms: own time of the newest reading seen; newest_mono: when it was seen, None when that
    was before a restart; value: the newest value judged; extreme: the farthest value since the condition (or its
    delay) began; finding: what the judgement with the newest value judged found, "" for a probe's reading; window: of a
    limit on a rate, what is remembered of the values before.
    """

    active: bool = False
    since_ms: int | None = None
    pending_ms: int | None = None
    pending_mono: float = 0.0
    newest_ms: int | None = None
    newest_mono: float | None = None
    value: float | None = None
    extreme: float | None = None
    finding: str = ""
    window: ChangeWindow | None = None


def judge(
    track: LevelTrack, limit: EffectiveLimit, readings: Sequence[WatchReading], *, fresh_s: float, mono: float
) -> tuple[LevelTrack, list[Condition]]:
    """Take readings of the limit's probe, in the order in which they came.

    fresh_s: the probe's no-data time in seconds; mono: the turn's monotonic time in seconds. Returns the new track
    and the condition at each of its changes, oldest first (a backlog may bring several).
    """
    # A low limit is a high limit on the negated value; negation is exact, so equality keeps its meaning.
    sign = -1.0 if limit.kind == "low" else 1.0
    edge = sign * limit.setpoint
    back = edge - limit.deadband
    on_ms, off_ms, fresh_ms = limit.on_delay_s * 1000, limit.off_delay_s * 1000, fresh_s * 1000
    active, since, pending, pending_mono = track.active, track.since_ms, track.pending_ms, track.pending_mono
    newest, newest_mono, value, extreme = track.newest_ms, track.newest_mono, track.value, track.extreme
    finding = track.finding
    changes: list[Condition] = []
    for reading in readings:
        at = reading.at_ms
        if is_in_doubt(reading.quality):
            # It may be an old one, so it neither begins nor ends a delay. The newest comes again as a good one.
            continue
        if not counts_as_data(reading.quality) or (newest is not None and at < newest):
            continue
        gap = newest is not None and at - newest > fresh_ms
        newest, newest_mono = at, mono
        good = may_be_judged(reading.value, reading.quality) or (
            is_saturated(reading.value, reading.quality) and sign * reading.value > edge
        )
        if gap or not good:
            pending = None
        if not good:
            continue
        value, finding = reading.value, reading.finding
        beyond = sign * value
        if not (beyond < back if active else beyond > edge):
            pending = None
            if active:
                extreme = _farther(extreme, value, sign)
            continue
        if pending is None:
            pending, pending_mono = at, mono
            extreme = extreme if active else value
        elif not active:
            extreme = _farther(extreme, value, sign)
        if at - pending >= (off_ms if active else on_ms):
            active, since, pending = not active, pending, None
            changes.append(Condition(limit.key, active, since, value, finding, extreme))
    after = LevelTrack(active, since, pending, pending_mono, newest, newest_mono, value, extreme, finding)
    return after, changes


def unmoved(track: LevelTrack, limit: EffectiveLimit, run: GoodRun, *, mono: float) -> LevelTrack | None:
    """Give the track after readings of which none begins a delay, None where ``judge`` has to take them one by one.

    mono: as for ``judge``.
    """
    if track.newest_ms is not None and run.first_ms < track.newest_ms:
        return None
    is_high = limit.kind == "high"
    farthest, nearest = (run.highest, run.lowest) if is_high else (run.lowest, run.highest)
    sign = 1.0 if is_high else -1.0
    extreme = track.extreme
    if track.active:
        if sign * nearest < sign * limit.setpoint - limit.deadband:
            return None
        extreme = _farther(extreme, farthest, sign)
    elif sign * farthest > sign * limit.setpoint:
        return None
    return LevelTrack(
        track.active,
        track.since_ms,
        None,
        track.pending_mono,
        run.last_ms,
        mono,
        run.last,
        extreme,
        run.finding,
    )


def tick(
    track: LevelTrack, limit: EffectiveLimit, *, fresh_s: float, mono: float
) -> tuple[LevelTrack, Condition | None]:
    """Let a running delay end between two readings, while the newest reading is no older than ``fresh_s`` seconds."""
    if track.pending_ms is None or track.newest_mono is None or mono - track.newest_mono > fresh_s:
        return track, None
    if mono - track.pending_mono < (limit.off_delay_s if track.active else limit.on_delay_s):
        return track, None
    changed = replace(track, active=not track.active, since_ms=track.pending_ms, pending_ms=None)
    return changed, Condition(limit.key, changed.active, track.pending_ms, track.value, track.finding, track.extreme)


def next_look(track: LevelTrack, rule: Rule, *, fresh_s: float, mono: float) -> float | None:
    """Give the monotonic second from which ``tick`` can end the delay, None where only a new reading can."""
    if track.pending_ms is None or track.newest_mono is None or mono - track.newest_mono > fresh_s:
        return None
    return track.pending_mono + (rule.off_delay_s if track.active else rule.on_delay_s)


def held_back(
    before: LevelTrack, after: LevelTrack, changes: Sequence[Condition], *, key: str, opened: bool, now_ms: int
) -> tuple[LevelTrack, list[Condition]]:
    """What is kept of a turn's judgement of a limit that the journal quiets.

    before, after: the track at the turn's beginning and end; changes: of the condition in between; opened: an
    occurrence was open before, and stands while its condition does; now_ms: UTC milliseconds.
    """
    ended = [change for change in changes if not change.active][:1] if before.active else []
    if before.active and opened and not ended:
        return after, []
    if before.active and not ended:
        ended = [Condition(key, False, now_ms, after.value)]
    if not ended and not after.active and after.pending_ms is None:
        return after, []
    since_ms = ended[0].since_ms if ended else before.since_ms
    return replace(after, active=False, since_ms=since_ms, pending_ms=None, extreme=None), ended


def _farther(extreme: float | None, value: float, sign: float) -> float:
    return value if extreme is None or sign * value > sign * extreme else extreme
