"""Limits, readings and ids for the tests of the watch."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from alerts.watch import Now, TurnInputs, TurnResult, Watch, WatchReading, WatchState
from ingest.cellar import EffectiveLimit
from ingest.operator_event import OperatorEvent
from ingest.reading import Quality, Reason, quality_code

BAD = quality_code(Quality.BAD, Reason.FAULT)
UNCERTAIN = quality_code(Quality.UNCERTAIN, Reason.STUCK)
IN_DOUBT = quality_code(Quality.UNCERTAIN, Reason.BACKLOG)
IMPORTED = quality_code(Quality.GOOD, Reason.IMPORTED)
SATURATED = quality_code(Quality.UNCERTAIN, Reason.SATURATED)
CLOCK = quality_code(Quality.UNCERTAIN, Reason.CLOCK)

EPOCH_MS = 1_700_000_000_000


def a_limit(**changes: Any) -> EffectiveLimit:
    """Make a limit, by default on K1's pressure below 5 kPa: deadband 1 kPa, on-delay 60 s, off-delay 30 s."""
    settings: dict[str, Any] = {
        "key": "K1/pressure/low",
        "kind": "low",
        "at": "K1",
        "quantity": "pressure",
        "probe": "k1-pressure",
        "setpoint": 5.0,
        "deadband": 1.0,
        "on_delay_s": 60.0,
        "off_delay_s": 30.0,
        "priority": "high",
        "hours": "any",
        "consequence": "Air can reach the wine.",
        "action": "Look at the lid seal.",
        "unit_text": "kPa",
    }
    return EffectiveLimit(**{**settings, **changes})


def a_silence(**changes: Any) -> EffectiveLimit:
    """Make a limit on silence, by default of K1's pressure probe for 120 s."""
    settings = {"key": "K1/pressure/no-data", "kind": "no data", "setpoint": 120.0, "deadband": 0.0, "unit_text": "s"}
    return a_limit(**{**settings, "on_delay_s": 0.0, "off_delay_s": 0.0, "priority": "medium", **changes})


# A limit on a part of leeside: it has no probe.
BROKER = a_silence(key="leeside/broker", at="leeside", quantity="broker", probe="", setpoint=100.0)


def ids() -> Callable[[], str]:
    """Make a function that returns the occurrence ids o1, o2, ..."""
    count = itertools.count(1)
    return lambda: f"o{next(count)}"


class Rig:
    """A watch with its state and a clock that the test sets; readings' times and the clock agree by default."""

    def __init__(self, *limits: EffectiveLimit, state: WatchState | None = None) -> None:
        self.limits = {limit.key: limit for limit in limits}
        self.watch = Watch(self.limits)
        self.watch_state = state or WatchState()
        self.next_occurrence = ids()
        self.second = 0.0
        self.skew_ms = 0
        self.quiet: dict[str, str] = {}
        self.turn()

    def now(self) -> Now:
        return Now(EPOCH_MS + round(self.second * 1000), 500.0 + self.second)

    def reading(self, value: float, second: float, quality: int = 0, probe: str = "k1-pressure") -> WatchReading:
        return WatchReading(probe, EPOCH_MS + self.skew_ms + round(second * 1000), value, quality)

    def at(
        self, second: float, *values: float, quality: int = 0, probe: str = "k1-pressure", well: Iterable[str] = ()
    ) -> TurnResult:
        """Run a turn at that second, with readings of that second. well: keys of limits on parts that are in order."""
        self.second = second
        return self.turn([self.reading(value, second, quality, probe) for value in values], well=well)

    def turn(
        self, readings: Sequence[WatchReading] = (), *events: OperatorEvent, well: Iterable[str] = ()
    ) -> TurnResult:
        health = dict.fromkeys(well, self.now().utc_ms)
        inputs = TurnInputs(readings, health, events, self.quiet)
        result = self.watch.turn(self.watch_state, inputs, self.now(), self.next_occurrence)
        self.watch_state = result.state
        return result

    def edit(self, *limits: EffectiveLimit) -> TurnResult:
        self.limits = {limit.key: limit for limit in limits}
        self.watch = Watch(self.limits)
        return self.turn()

    def acknowledge(self, target: str) -> TurnResult:
        return self.turn([], OperatorEvent(9, self.now().utc_ms, "acknowledge", target, "Ana", "on my way"))

    def state(self, key: str = "K1/pressure/low") -> str:
        return self.watch_state.records[key].alarm.state.value
