"""Alarms that are suppressed by design: by a limit that fails at the root, or by what the journal says."""

from __future__ import annotations

__all__ = ["Suppression"]

from collections.abc import Mapping
from dataclasses import replace

from alerts.watch import no_data
from alerts.watch.alarm import Cause
from alerts.watch.alarm_table import AlarmEvent
from alerts.watch.condition import Condition
from alerts.watch.no_data import SilenceTrack
from alerts.watch.open_turn import OpenTurn
from ingest.cellar import EffectiveLimit


class Suppression:
    """Which limits of a cellar suppress which. parents: the key of a limit -> the keys of those that suppress it."""

    def __init__(self, limits: Mapping[str, EffectiveLimit]) -> None:
        self._keys = list(limits)
        self.parents = {
            key: parents
            for key, limit in limits.items()
            if (parents := tuple(parent for parent in limit.suppressed_by if parent in limits))
        }
        # A suppressing limit may leave the file while what it suppressed stays: that alarm has to be released.
        self._never_suppressed = [key for key in limits if key not in self.parents]

    def suppress(self, turn: OpenTurn, quiet: Mapping[str, str]) -> None:
        """Suppress what a failing limit explains and what the journal quiets, before conditions reach their alarms.

        quiet: the keys of limits that say nothing now by the journal, each with the reason.
        """
        records = turn.records
        for key, parents in self.parents.items():
            cause = next((parent for parent in parents if _was_active(turn, parent)), None)
            if cause is None:
                continue
            if not records[key].alarm.suppressed:
                turn.apply(
                    key, AlarmEvent.SUPPRESS, Cause(turn.now.utc_ms, records[key].condition, suppressed_by=cause)
                )
            if isinstance(track := records[key].track, SilenceTrack) and track.active:
                # Its time to be heard begins when the other has ended.
                turn.judged(key, replace(track, seen_mono=turn.now.mono), ())
        for key in [key for key in self._keys if key in quiet] if quiet else ():
            if not records[key].alarm.suppressed:
                turn.apply(key, AlarmEvent.SUPPRESS, Cause(turn.now.utc_ms, records[key].condition, note=quiet[key]))

    def release(self, turn: OpenTurn, quiet: Mapping[str, str]) -> None:
        """Release what may speak again, after conditions have reached their alarms. quiet: as for ``suppress``."""
        records = turn.records
        for key, parents in self.parents.items():
            if key not in quiet and not any(records[parent].track.active for parent in parents):
                _release(turn, key)
        for key in self._never_suppressed:
            if key not in quiet:
                _release(turn, key)


def _was_active(turn: OpenTurn, key: str) -> bool:
    """Whether a limit's condition is true, or was at some moment of this turn."""
    return turn.records[key].track.active or any(change.active for change in turn.changes.get(key, ()))


def _release(turn: OpenTurn, key: str) -> None:
    record = turn.records[key]
    if not record.alarm.suppressed:
        return
    if isinstance(record.track, SilenceTrack) and record.track.active:
        # What fell silent with its broker or line has its whole time again to be heard once that is back.
        if record.alarm.awaits_return:
            # It was reported before, and nobody knows yet whether it has returned.
            if turn.now.mono - record.track.seen_mono <= record.rule.setpoint:
                return
        else:
            heard = no_data.granted_again(record.track, turn.now)
            turn.judged(key, heard, [Condition(key, False, turn.now.utc_ms, None)])
            record = turn.records[key]
    turn.apply(key, AlarmEvent.RELEASE, Cause(turn.now.utc_ms, record.condition))
