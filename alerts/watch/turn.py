"""The turn: new readings and what people asked for become conditions, alarm steps and outcomes.

Order within a turn: what people asked for (it is about what they saw before this turn); limits that left the cellar
file; edited limits; suppression that begins; conditions, in the readings' order; suppression and shelvings that end. So
a limit that is pointless while another is active is never raised in the turn in which both begin. A silence that may
have its cause in a broker, line or daemon waits until that is known to be gone or well. A limit on silence that is
released while nothing has been heard yet begins its time again, so that what had returned before, or is about to, is
not raised. What the journal quiets (an empty vessel, a racking that has begun) is suppressed in the same way, from
outside; there a condition may end but not begin, so that the on-delay has its whole time after the release.

The cost depends on what is new: readings reach only their own probe's limits, and what runs out by itself (delays,
silences) is looked at when its time has come (``agenda``).
"""

from __future__ import annotations

__all__ = ["DEFAULT_FRESH_S", "JUDGEMENT_FRESH_S", "TurnResult", "Watch", "is_judged_lately"]

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Final

from alerts.watch import due, level, no_data, rate
from alerts.watch.agenda import Agenda
from alerts.watch.alarm import Cause, Transition
from alerts.watch.alarm_table import AlarmEvent, Occasion
from alerts.watch.condition import Condition
from alerts.watch.good_run import GoodRun, good_run
from alerts.watch.level import LevelTrack
from alerts.watch.limit import Rule, rule_of
from alerts.watch.no_data import SilenceTrack
from alerts.watch.open_turn import OpenTurn
from alerts.watch.operating import end_shelvings, operate
from alerts.watch.probe_clock import ProbeClock, judged_times, usual
from alerts.watch.silences import Silences
from alerts.watch.suppression import Suppression
from alerts.watch.turn_inputs import DueFact, Now, TurnInputs, WatchReading
from alerts.watch.watch_state import LimitRecord, Track, WatchState, fresh_track, is_kept_alike
from ingest.cellar import EffectiveLimit, is_judged_id

# For a probe without a limit on its silence; the cellar file's own default is never shorter than this.
DEFAULT_FRESH_S: Final = 120.0
# Judgements come at least every ten minutes; three that are missing are as a probe that is silent.
JUDGEMENT_FRESH_S: Final = 1800.0


@dataclass(frozen=True, slots=True)
class TurnResult:
    """What a turn gives.

    state: for the next turn; changed: records to be written, by limit key; removed: keys whose rows are to be deleted;
    transitions: in the order in which they happened; outcomes: each operator event's id, and the words for the person.
    """

    state: WatchState
    changed: dict[str, LimitRecord] = field(default_factory=dict)
    removed: tuple[str, ...] = ()
    transitions: list[Transition] = field(default_factory=list)
    outcomes: list[tuple[int, str]] = field(default_factory=list)


class Watch:
    """The limits of a cellar, indexed once by probe and by what they suppress.

    notes: by key, why a limit is gone that is still in the cellar file.
    """

    def __init__(self, limits: Mapping[str, EffectiveLimit], notes: Mapping[str, str] = MappingProxyType({})) -> None:
        self._notes = notes
        self._limits = dict(limits)
        self._rules = {key: rule_of(limit) for key, limit in self._limits.items()}
        self._order = {key: number for number, key in enumerate(self._limits)}
        self._keys_of_probe: dict[str, list[str]] = {}
        fresh: dict[str, float] = {}
        for key, limit in self._limits.items():
            self._keys_of_probe.setdefault(limit.probe, []).append(key)
            if limit.kind == "no data" and limit.role != "bad measurement":
                fresh[limit.probe] = max(limit.setpoint, fresh.get(limit.probe, 0.0))
        self._fresh_s = {probe: fresh.get(probe, _fresh_s(probe)) for probe in self._keys_of_probe}
        self._suppression = Suppression(self._limits)
        self._silences = Silences(self._limits, self._suppression)

    def fresh_s(self, probe: str) -> float:
        """For how long a reading of a probe says how things are, seconds."""
        return self._fresh_s.get(probe, DEFAULT_FRESH_S)

    def turn(self, state: WatchState, inputs: TurnInputs, now: Now, next_occurrence: Callable[[], str]) -> TurnResult:
        """Make one turn. next_occurrence gives ids that are never used again."""
        quiet = inputs.quiet
        known = state.agenda if state.agenda is not None and state.agenda.rules is self._rules else None
        agenda = self._agenda(state, now) if known is None else known.copy()
        turn = OpenTurn(dict(state.records), dict(state.clocks), agenda, now, next_occurrence)
        turn.outcomes.extend((event.id, operate(turn, event, self._limits)) for event in inputs.events)
        if known is None:
            self._reconcile(turn)
        quiet_before = {key: turn.records[key].track for key in quiet if key in self._limits}
        self._judge(turn, inputs)
        self._judge_due(turn, inputs.due)
        self._tick(turn)
        for key, track in quiet_before.items():
            turn.hold_back(key, track)
        self._suppression.suppress(turn, quiet)
        for key, conditions in turn.changes.items():
            for change in conditions:
                turn.apply(key, AlarmEvent.BEGAN if change.active else AlarmEvent.ENDED, Cause(now.utc_ms, change))
        self._suppression.release(turn, quiet)
        end_shelvings(turn)
        _end_chatter(turn)
        changed = {
            key: record
            for key, before in turn.before.items()
            if (record := turn.records.get(key)) is not None and (before is None or not is_kept_alike(before, record))
        }
        steps = [self._with_others(turn, step) for step in turn.transitions]
        return TurnResult(
            WatchState(turn.records, turn.clocks, agenda), changed, tuple(turn.removed), steps, turn.outcomes
        )

    def _with_others(self, turn: OpenTurn, step: Transition) -> Transition:
        """The step, with the probes whose silence it explains where a cause is raised, and with the milder alarms that
        still stand where a worse one returns.
        """
        probes = self._suppression.explained_by(turn, step.key) if step.occasion is Occasion.RAISED else ()
        still = self._suppression.still_standing(turn, step.key) if step.occasion is Occasion.RETURNED else ()
        return replace(step, explains=probes, still=still) if probes or still else step

    def _agenda(self, state: WatchState, now: Now) -> Agenda:
        """Make the agenda of a state that comes from the store or from before the limits were edited."""
        agenda = Agenda(self._rules, self._fresh_s, untimed=self._silences.rooms)
        agenda.note_all(state.records.items(), now.mono)
        return agenda

    def _reconcile(self, turn: OpenTurn) -> None:
        """Make the records those of the limits as they are now."""
        records, mono = turn.records, turn.now.mono
        for key in records.keys() - self._limits.keys():
            turn.remove(key, self._notes.get(key, ""))
        for key, rule in self._rules.items():
            record = records.get(key)
            if record is None:
                turn.put(key, LimitRecord.fresh(self._limits[key], mono))
            elif record.rule != rule:
                turn.put(key, replace(record, rule=rule, track=_carried(record, rule, mono)))

    def _judge(self, turn: OpenTurn, inputs: TurnInputs) -> None:
        limits, records, mono = self._limits, turn.records, turn.now.mono
        by_probe: dict[str, list[WatchReading]] = {}
        for reading in inputs.readings:
            by_probe.setdefault(reading.probe, []).append(reading)
        for probe, as_sent in by_probe.items():
            run = self._run(turn, probe, as_sent)
            if run is None:
                by_probe[probe] = self._timed(turn, probe, as_sent)
            for key in self._keys_of_probe.get(probe, ()):
                limit, track = limits[key], records[key].track
                fresh_s = self._fresh_s[probe]
                turn.judged(key, *_judged(track, limit, by_probe[probe], run, fresh_s=fresh_s, mono=mono))
        self._silences.hear(turn, by_probe)
        for key, at_ms in inputs.health.items():
            if key in limits and isinstance(track := records[key].track, SilenceTrack):
                turn.judged(key, *no_data.hear(track, limits[key], (at_ms,), mono=mono))

    def _judge_due(self, turn: OpenTurn, facts: Mapping[str, DueFact | None]) -> None:
        for key, fact in facts.items():
            if key in self._limits and isinstance(track := turn.records[key].track, LevelTrack):
                turn.judged(key, *due.judge(track, self._limits[key], fact, now_ms=turn.now.utc_ms))

    def _run(self, turn: OpenTurn, probe: str, as_sent: Sequence[WatchReading]) -> GoodRun | None:
        """The readings of a probe as a whole, None where they have to be judged one by one."""
        run = good_run(as_sent)
        after = None if run is None else usual(turn.clocks.get(probe, ProbeClock()), run, turn.now)
        if after is None:
            return None
        turn.clocks[probe] = after
        return run

    def _timed(self, turn: OpenTurn, probe: str, as_sent: Sequence[WatchReading]) -> list[WatchReading]:
        """The readings of a probe with the times by which they are judged."""
        clock, fresh_s = turn.clocks.get(probe, ProbeClock()), self._fresh_s.get(probe, DEFAULT_FRESH_S)
        turn.clocks[probe], readings = judged_times(clock, as_sent, fresh_s=fresh_s, now=turn.now)
        return readings

    def _tick(self, turn: OpenTurn) -> None:
        """Let delays and silences run out between readings."""
        now = turn.now
        due_keys = sorted(turn.agenda.take_due(now.mono), key=self._order.__getitem__)
        silences = []
        for key in due_keys:
            limit, track = self._limits[key], turn.records[key].track
            if isinstance(track, LevelTrack):
                after, change = level.tick(track, limit, fresh_s=self._fresh_s[limit.probe], mono=now.mono)
                turn.judged(key, after, [change] if change is not None else ())
            else:
                silences.append(key)
        self._silences.run_out(turn, silences)
        for key in due_keys:
            turn.agenda.note(key, turn.records[key], now.mono)


def is_judged_lately(at_ms: int, now_ms: int) -> bool:
    """Whether a judgement that knows up to at_ms says how things are now (both UTC ms)."""
    return now_ms - at_ms <= JUDGEMENT_FRESH_S * 1000


def _fresh_s(probe: str) -> float:
    """How long a reading says how things are, where no limit on silence says so."""
    return JUDGEMENT_FRESH_S if is_judged_id(probe) else DEFAULT_FRESH_S


def _judged(
    track: Track,
    limit: EffectiveLimit,
    readings: Sequence[WatchReading],
    run: GoodRun | None,
    *,
    fresh_s: float,
    mono: float,
) -> tuple[Track, Sequence[Condition]]:
    """Judge one limit by its probe's readings. run: the same as a whole, where they are plain."""
    if isinstance(track, LevelTrack):
        if limit.kind == "rate":
            return rate.judge(track, limit, readings, fresh_s=fresh_s, mono=mono)
        quick = None if run is None else level.unmoved(track, limit, run, mono=mono)
        return level.judge(track, limit, readings, fresh_s=fresh_s, mono=mono) if quick is None else (quick, ())
    if run is not None:
        return no_data.hear(track, limit, (run.first_ms, run.last_ms), mono=mono)
    return no_data.judge(track, limit, readings, mono=mono)


def _end_chatter(turn: OpenTurn) -> None:
    for key in sorted(turn.agenda.chattering):
        record = turn.records[key]
        if record.chatter.is_over(active=record.track.active, now_ms=turn.now.utc_ms):
            turn.apply(key, AlarmEvent.CALM, Cause(turn.now.utc_ms, record.condition))


def _carried(record: LimitRecord, rule: Rule, mono: float) -> Track:
    """The track under an edited rule: the condition stands until it is judged by the new one, running delays are
    dropped.
    """
    track = record.track
    if (record.rule.kind, record.rule.probe) == (rule.kind, rule.probe):
        if not isinstance(track, LevelTrack):
            return track
        window = track.window if record.rule.within_s == rule.within_s else None
        return replace(track, pending_ms=None, window=window)
    return fresh_track(rule, mono, active=track.active, since_ms=track.since_ms)
