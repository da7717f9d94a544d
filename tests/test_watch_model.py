"""Whole turns against a second implementation: whatever happens, states, record and messages are the same."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random
from unittest.mock import patch

from alarm_model import ModelLevel, ModelSilence, ModelTurn, Reading, Took
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import BAD, EPOCH_MS, UNCERTAIN, a_limit, a_silence, ids

from alerts.watch import NewestReading, Now, Transition, TurnInputs, Watch, WatchReading, WatchState, chatter
from alerts.watch.alarm_table import ALARM_TABLE, MUTING, AlarmEvent, Mutes, Step, Unmutes
from ingest.cellar import EffectiveLimit
from ingest.operator_event import OperatorEvent

AIR, CARE, OVER, SILENCE = "K1/pressure/air", "K1/pressure/care", "K1/pressure/over", "K1/pressure/no-data"
KEYS = (AIR, CARE, OVER, SILENCE)


def the_limits(*, air: float = 5.0) -> dict[str, EffectiveLimit]:
    limits = (
        a_limit(key=AIR, setpoint=air, on_delay_s=20.0, off_delay_s=10.0),
        a_limit(key=CARE, setpoint=20.0, deadband=3.0, on_delay_s=0.0, off_delay_s=0.0, suppressed_by=(AIR,)),
        a_limit(key=OVER, kind="high", role="over", setpoint=50.0, deadband=5.0, on_delay_s=5.0, off_delay_s=15.0),
        a_silence(key=SILENCE),
    )
    return {limit.key: limit for limit in limits}


def the_model() -> ModelTurn:
    return ModelTurn(
        {
            AIR: ModelLevel(True, 5.0, 1.0, 20.0, 10.0),
            CARE: ModelLevel(True, 20.0, 3.0, 0.0, 0.0),
            OVER: ModelLevel(False, 50.0, 5.0, 5.0, 15.0),
            SILENCE: ModelSilence(120.0),
        },
        {CARE: AIR},
        [OVER],
    )


class Both:
    """The watch and the model, side by side."""

    def __init__(self) -> None:
        self.model = the_model()
        self.limits = the_limits()
        self.watch = Watch(self.limits)
        self.state = WatchState()
        self.next_occurrence = ids()
        self.open: dict[str, str] = {}
        self.used: set[str] = set()
        self.steps: set[tuple[str, str]] = set()
        self.newest: NewestReading | None = None
        self.second, self.mono, self.boot = 0.0, 500.0, 1
        self.quiet: frozenset[str] = frozenset()
        self.turn()

    @property
    def now(self) -> Now:
        return Now(EPOCH_MS + round(self.second * 1000), self.mono, f"boot-{self.boot}")

    def passes(self, seconds: float) -> None:
        self.second += seconds
        self.mono += seconds

    def turn(
        self, *readings: tuple[float, int], asked: tuple[str, str, str, float | None, float] | None = None
    ) -> None:
        """A turn at this moment with readings (value, quality) a quarter of a second apart, and what a person asked."""
        count = len(readings)
        times = [self.second - 0.25 * (count - 1 - number) for number in range(count)]
        rows = [
            WatchReading("k1-pressure", EPOCH_MS + round(at * 1000), value, quality)
            for at, (value, quality) in zip(times, readings, strict=True)
        ]
        if rows:
            value, quality = readings[-1]
            self.newest = NewestReading(rows[-1].at_ms, value if quality == 0 else None)
        events, expected_done = [], None
        if asked is not None:
            kind, key, why, span, waited = asked
            written_ms = self.now.utc_ms - round(waited * 1000)
            target = self.open.get(key, key) if kind == "acknowledge" else key
            events = [OperatorEvent(7, written_ms, kind, target, "Ana", why, span)]
            expected_done = self.model.asked(self.second, kind, key, why, span, waited)
        quiet = dict.fromkeys(self.quiet, "the vessel is empty")
        result = self.watch.turn(self.state, TurnInputs(rows, {}, events, quiet), self.now, self.next_occurrence)
        self.state = result.state
        if expected_done is not None:
            ((_, outcome),) = result.outcomes
            assert outcome.startswith(("nothing done", "not done")) is not expected_done, outcome
        taken = [
            Reading(at, value if quality == 0 else None) for at, (value, quality) in zip(times, readings, strict=True)
        ]
        self.model.judge(self.second, taken, self.quiet)
        self.compare(result.transitions, {key: alarm.took for key, alarm in self.model.alarms.items()})
        for alarm in self.model.alarms.values():
            alarm.took.clear()
        changed = {step.key for step in result.transitions if step.key in self.limits}
        assert changed <= result.changed.keys(), "what happened is written"

    def compare(self, transitions: list[Transition], expected: Mapping[str, list[Took]]) -> None:
        taken: dict[str, list[Took]] = {key: [] for key in KEYS}
        for step in transitions:
            self.steps.add((step.from_state.value, step.event.value))
            taken[step.key].append(
                Took(
                    step.event.value,
                    step.from_state.value,
                    step.to_state.value,
                    None if step.occasion is None else step.occasion.value,
                    step.opened is not None,
                    step.closed is not None,
                )
            )
            if step.closed is not None:
                assert self.open.pop(step.key) == step.closed
            if step.opened is not None:
                assert step.opened not in self.used
                assert step.key not in self.open
                self.used.add(step.opened)
                self.open[step.key] = step.opened
            assert step.occasion is None or step.occurrence is not None
            assert step.occasion is None or step.to_state not in MUTING
            assert step.by is None or step.by == "Ana"
        for key in KEYS:
            assert taken[key] == expected.get(key, []), key
        for key, alarm in self.model.alarms.items():
            record = self.state.records[key]
            assert (record.alarm.state.value, record.track.active) == (alarm.state, self.model.limits[key].active), key
            assert record.alarm.occurrence == self.open.get(key)
            assert (key in self.open) == alarm.open

    def edit(self, air: float) -> None:
        self.limits = the_limits(air=air)
        self.watch = Watch(self.limits)
        level = self.model.limits[AIR]
        assert isinstance(level, ModelLevel)
        if level.setpoint != air:
            level.setpoint, level.run = air, []
        self.turn()

    def remove(self, key: str) -> None:
        """The limit leaves the cellar file, and comes back with the next edit."""
        limits = {other: limit for other, limit in self.limits.items() if other != key}
        expected = {key: self.model.alarms[key].remove()}
        # What it suppressed is released in the same turn.
        model = the_model()
        kept_limit = model.limits[key]
        del self.model.alarms[key], self.model.limits[key]
        result = Watch(limits).turn(self.state, TurnInputs(), self.now, self.next_occurrence)
        self.state = result.state
        assert result.removed == (key,)
        self.model.judge(self.second, (), ())
        expected |= {other: list(alarm.took) for other, alarm in self.model.alarms.items()}
        self.compare(result.transitions, expected)
        for alarm in self.model.alarms.values():
            alarm.took.clear()
        fresh = the_model()
        self.model.limits = {other: self.model.limits.get(other, kept_limit) for other in KEYS}
        self.model.alarms = {other: self.model.alarms.get(other, fresh.alarms[other]) for other in KEYS}
        silence = self.model.limits[SILENCE]
        if key == SILENCE and isinstance(silence, ModelSilence):
            silence.heard = self.second
        level = self.model.limits[AIR]
        if key == AIR and isinstance(level, ModelLevel):
            level.setpoint = self.limits[AIR].setpoint
        self.turn()

    def restart(self, *, reboot: bool) -> None:
        rows = {key: record.to_json(self.now.boot) for key, record in self.state.records.items()}
        silent_s = self.state.silences(self.mono, longer_than_s=0.0)
        if reboot:
            self.boot += 1
            self.mono = 30.0 * self.boot
            for limit in self.model.limits.values():
                limit.reboot(self.second)
            silent_s = {}
        newest = {} if self.newest is None else {"k1-pressure": self.newest}
        self.state = WatchState.from_rows(rows, self.now, newest, silent_s)
        self.watch = Watch(self.limits)


# Readings of a turn are half a second apart at most, and turns more than that, so that none is late.
PAUSES = (0.75, 1.0, 4.75, 5.0, 9.75, 10.0, 19.75, 20.0, 20.0, 45.0, 119.75, 120.0, 120.25, 300.0, 3600.0)
VALUES = (0.5, 3.0, 5.0, 5.5, 6.5, 15.0, 21.0, 24.0, 30.0, 44.0, 48.0, 51.0, 60.0)
QUALITIES = (0, 0, 0, 0, 0, 0, 0, 0, BAD, UNCERTAIN)
KINDS = (
    *("acknowledge", "acknowledge", "acknowledge all", "shelve", "shelve", "unshelve", "unshelve"),
    *("take out of service", "return to service"),
)
SPANS = (0.0, 10.0, 60.0, 600.0, 3600.0, 3600.25, 604_800.0, 604_800.25)


def some_turns(both: Both, chance: Random, count: int) -> None:
    for _ in range(count):
        both.passes(chance.choice(PAUSES))
        what = chance.random()
        if what < 0.5:
            both.turn(*((chance.choice(VALUES), chance.choice(QUALITIES)) for _ in range(chance.randint(1, 3))))
        elif what < 0.85:
            key, why = chance.choice((*KEYS, "K9/pressure/air")), chance.choice(("lid off", "lid off", ""))
            waited = chance.choice((0.0, 0.0, 30.0))
            both.turn(asked=(chance.choice(KINDS), key, why, chance.choice(SPANS), waited))
        elif what < 0.9:
            both.quiet = chance.choice((frozenset(), frozenset({AIR, CARE}), frozenset({CARE})))
            both.turn()
        elif what < 0.94:
            both.restart(reboot=chance.random() < 0.5)
            both.turn()
        elif what < 0.97:
            both.edit(chance.choice((5.0, 16.0)))
        else:
            both.quiet = frozenset()
            both.turn()
            both.remove(chance.choice(KEYS))


# Chatter changes messages; it has tests of its own.
@patch.object(chatter, "MOST_RAISES", 1_000_000)
@given(st.integers(0, 2**32))
def test_the_watch_and_the_model_agree(seed: int) -> None:
    some_turns(Both(), Random(seed), 120)


@patch.object(chatter, "MOST_RAISES", 1_000_000)
def test_such_turns_take_every_step_of_the_table() -> None:
    steps = {
        (state.value, event.value)
        for state, row in ALARM_TABLE.items()
        for event, cell in row.items()
        if isinstance(cell, Step | Mutes | Unmutes) and event is not AlarmEvent.CALM
    }
    for seed in range(60):
        both = Both()
        some_turns(both, Random(seed), 120)
        steps -= both.steps
    assert steps == set()
