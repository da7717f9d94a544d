"""Alarms that are suppressed by design: by a limit that fails at the root, or by what the journal says."""

from __future__ import annotations

__all__ = ["Suppression"]

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

from alerts.watch import no_data
from alerts.watch.alarm import Cause, because_of
from alerts.watch.alarm_table import AlarmEvent, Occasion
from alerts.watch.condition import Condition
from alerts.watch.no_data import SilenceTrack
from alerts.watch.open_turn import OpenTurn
from alerts.watch.own_limits import is_babbling
from ingest.cellar import EffectiveLimit, is_of_one_cause


class Suppression:
    """Which limits of a cellar suppress which. parents: the key of a limit -> the keys of those that suppress it."""

    def __init__(self, limits: Mapping[str, EffectiveLimit]) -> None:
        self._order = {key: number for number, key in enumerate(limits)}
        self.parents = {
            key: parents
            for key, limit in limits.items()
            if (parents := tuple(parent for parent in limit.suppressed_by if parent in limits))
        }
        # The worse setpoints of the same quantity among them, and what is worse about the same gas.
        self._worse = {
            key: tuple(parent for parent in parents if _is_beside(limits[parent], limits[key]))
            for key, parents in self.parents.items()
        }
        self._is_of_probe = {
            key: limit.probe if limit.kind == "no data" and limit.role == "" else "" for key, limit in limits.items()
        }
        self._children: dict[str, list[str]] = {}
        for key, parents in self.parents.items():
            for parent in parents:
                self._children.setdefault(parent, []).append(key)

    def suppress(self, turn: OpenTurn, quiet: Mapping[str, str]) -> None:
        """Suppress what a failing limit explains and what the journal quiets, before conditions reach their alarms.

        quiet: the keys of limits that say nothing now by the journal, each with the reason.
        """
        causes = {key for key in turn.agenda.active | turn.changes.keys() if key in self._children}
        causes = {key for key in causes if _was_active(turn, key)}
        for key in self._in_order({child for cause in causes for child in self._children[cause]}):
            if not turn.records[key].alarm.suppressed:
                condition = turn.records[key].condition
                cause = next(parent for parent in self.parents[key] if parent in causes)
                turn.apply(key, AlarmEvent.SUPPRESS, Cause(turn.now.utc_ms, condition, suppressed_by=cause))
        for key in self._in_order(quiet):
            if not turn.records[key].alarm.suppressed:
                condition = turn.records[key].condition
                turn.apply(key, AlarmEvent.SUPPRESS, Cause(turn.now.utc_ms, condition, note=quiet[key]))

    def explained_by(self, turn: OpenTurn, cause: str) -> tuple[str, ...]:
        """The probes whose silence a cause explains: those of its limits on silence that were not raised before it.

        A probe that babbles is not silent.
        """
        if is_babbling(cause):
            return ()
        silences = (key for key in self._children.get(cause, ()) if self._is_of_probe[key])
        return tuple(dict.fromkeys(self._is_of_probe[key] for key in silences if not _was_raised(turn, key)))

    def release(self, turn: OpenTurn, quiet: Mapping[str, str]) -> None:
        """Release what may speak again, after conditions have reached their alarms. quiet: as for ``suppress``."""
        for key in self._in_order(turn.agenda.suppressed):
            parents = self.parents.get(key, ())
            is_explained = key in quiet or any(turn.records[parent].track.active for parent in parents)
            if is_explained or any(parent in turn.changes for parent in parents):
                _hold(turn, key)
            if key in quiet:
                _name(turn, key, quiet[key], {because_of(parent) for parent in parents})
            if not is_explained:
                because = turn.records[key].alarm.suppressed_because
                stands = any(because == because_of(worse) for worse in self._worse.get(key, ()))
                _release(turn, key, stands=stands)

    def still_standing(self, turn: OpenTurn, key: str) -> tuple[str, ...]:
        """The milder limits beside one that has returned whose alarms stand, and were reported before it."""
        raised = {step.key for step in turn.transitions if step.occasion is Occasion.RAISED}
        return tuple(
            child
            for child in self._children.get(key, ())
            if key in self._worse[child] and child not in raised and _stands(turn, child)
        )

    def _in_order(self, keys: Iterable[str]) -> list[str]:
        """The keys that are those of limits, in the limits' order."""
        return sorted((key for key in keys if key in self._order), key=self._order.__getitem__)


def _is_beside(limit: EffectiveLimit, other: EffectiveLimit) -> bool:
    """Whether two limits are setpoints of one quantity on the same side, or about the same gas of a vessel."""
    of_one_quantity = limit.kind in ("low", "high") and (limit.probe, limit.kind) == (other.probe, other.kind)
    return of_one_quantity or is_of_one_cause(limit, other)


def _stands(turn: OpenTurn, key: str) -> bool:
    record = turn.records[key]
    return record.track.active and record.alarm.awaits_return and not record.alarm.mutes


def _was_active(turn: OpenTurn, key: str) -> bool:
    """Whether a limit's condition is true, or was at some moment of this turn."""
    return turn.records[key].track.active or any(change.active for change in turn.changes.get(key, ()))


def _was_raised(turn: OpenTurn, key: str) -> bool:
    """Whether it was reported before that a probe is silent, and not yet that it is heard again."""
    alarm = turn.records[key].alarm
    return alarm.occurrence is not None and alarm.awaits_return


def _name(turn: OpenTurn, key: str, reason: str, causes: Collection[str]) -> None:
    """Let an alarm that the journal quiets give the journal's present reason, not one that has passed.

    causes: what it says of the alarms that may suppress it; such a reason stays as it is.
    """
    record = turn.records[key]
    if record.alarm.suppressed_because not in (reason, *causes):
        turn.put(key, replace(record, alarm=replace(record.alarm, suppressed_because=reason)))


def _hold(turn: OpenTurn, key: str) -> None:
    """Let the time to be heard of a silence that was reported begin only when it is explained no more."""
    record = turn.records[key]
    if record.alarm.awaits_return and isinstance(record.track, SilenceTrack) and record.track.active:
        turn.judged(key, replace(record.track, seen_mono=turn.now.mono), ())


def _release(turn: OpenTurn, key: str, *, stands: bool) -> None:
    """Let an alarm speak again. stands: as for ``Cause``."""
    record = turn.records[key]
    if isinstance(record.track, SilenceTrack):
        # What fell silent with its broker or line has its whole time again to be heard once that is back.
        if not record.track.active:
            turn.judged(key, replace(record.track, seen_mono=turn.now.mono), ())
        elif record.alarm.awaits_return:
            # It was reported before, and nobody knows yet whether it has returned.
            if turn.now.mono - record.track.seen_mono <= record.rule.setpoint:
                return
            stands = True
        else:
            heard = no_data.granted_again(record.track, turn.now)
            turn.judged(key, heard, [Condition(key, False, turn.now.utc_ms, None)])
        record = turn.records[key]
    turn.apply(key, AlarmEvent.RELEASE, Cause(turn.now.utc_ms, record.condition, stands=stands))
