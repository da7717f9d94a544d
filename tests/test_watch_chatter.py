"""An alarm that comes and goes again and again: reported once, counted, and reported when it is calm."""

from __future__ import annotations

import json

import pytest
from watch_limits import BROKER, EPOCH_MS, Rig, a_limit, a_silence

from alerts.watch import AlarmEvent, LimitRecord, WatchState
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import Occasion
from alerts.watch.chatter import MOST_RAISES, STAYS_S, STEADY, WINDOW_S
from ingest.cellar import EffectiveLimit

HIGH = a_limit(key="K1/pressure/over", kind="high", setpoint=180.0, deadband=4.0, on_delay_s=0.0, off_delay_s=0.0)
KEY = HIGH.key


class Swinging(Rig):
    """K1 swings over its limit; what was told, and every step."""

    def __init__(self, *limits: EffectiveLimit) -> None:
        super().__init__(*(limits or (HIGH,)))
        self.steps: list[Transition] = []

    def swing(self, until: float, period_s: float = 33.0) -> None:
        while self.second + period_s <= until:
            self.steps += self.at(self.second + period_s / 2, 185.0).transitions
            self.steps += self.at(self.second + period_s / 2, 170.0).transitions

    def to(self, second: float, value: float | None = None) -> None:
        """Go on to that second in steps of a minute; value: of the readings, None for none."""
        while self.second < second:
            at = min(second, self.second + 60.0)
            self.steps += self.at(at, *([] if value is None else [value])).transitions

    @property
    def told(self) -> list[str]:
        return [str(step.occasion) for step in self.steps if step.occasion is not None]


def test_a_swing_every_33_s_is_reported_once_counted_and_reported_when_it_is_calm() -> None:
    rig = Swinging()
    rig.swing(600)
    assert rig.told == ["raised", "returned"] * MOST_RAISES + ["chattering"]
    assert sum(step.event is AlarmEvent.BEGAN for step in rig.steps) == 18, "every step is recorded"
    assert sum(step.event is AlarmEvent.ENDED for step in rig.steps) == 18
    chatter = rig.watch_state.records[KEY].chatter
    assert (chatter.count, chatter.since_ms) == (18, EPOCH_MS + 16_500)
    last = rig.second
    rig.to(last + WINDOW_S - 1, 170.0)
    assert rig.told[-1] == "chattering"
    rig.to(last + WINDOW_S, 170.0)
    assert rig.told[-1] == "calm"
    calm, report = rig.steps[-1], next(step for step in rig.steps if step.occasion is Occasion.CHATTERING)
    assert (calm.from_state, calm.to_state, calm.occurrence) == ("returned", "returned", report.occurrence)
    assert calm.chatter is not None
    assert calm.chatter.count == 18
    assert rig.watch_state.records[KEY].chatter == STEADY
    rig.to(rig.second + 60, 185.0)
    assert rig.told[-1] == "raised", "from now on as usual"


def test_three_raises_in_half_an_hour_are_none_and_four_in_more_than_that_are_none() -> None:
    rig = Swinging()
    rig.swing(99)
    rig.to(WINDOW_S + 16.5, 170.0)
    rig.swing(rig.second + 33)
    assert rig.told == ["raised", "returned"] * 4
    rig.swing(rig.second + 3 * 33)
    assert rig.told[8:] == ["raised", "returned"] * 2 + ["chattering"]


def test_what_stays_after_chattering_is_an_alarm_again() -> None:
    rig = Swinging()
    rig.swing(300)
    began = rig.second
    rig.to(began + STAYS_S - 1, 185.0)
    assert rig.told[-1] == "chattering"
    rig.to(began + STAYS_S + 60, 185.0)
    assert rig.told[-1] == "calm"
    assert rig.steps[-1].to_state == "unacknowledged"
    rig.to(rig.second + 60, 170.0)
    assert rig.told[-1] == "returned", "the last message said that it stands"


@pytest.mark.parametrize("step_s", [-86_400.0, 86_400.0])
def test_a_clock_that_is_set_cannot_keep_it_silent(step_s: float) -> None:
    rig = Swinging()
    rig.swing(300)
    rig.to(rig.second + 1.0, 185.0)
    chatter = rig.watch_state.records[KEY].chatter
    assert chatter.is_over(active=True, now_ms=rig.now().utc_ms + round(step_s * 1000))


def test_a_restart_neither_forgets_nor_repeats_it() -> None:
    rig = Swinging()
    rig.swing(300)
    texts = {key: record.to_json() for key, record in rig.watch_state.records.items()}
    before = rig.watch_state.records[KEY]
    rig.watch_state = WatchState.from_rows(texts, rig.now(), {})
    assert rig.watch_state.records[KEY].chatter == before.chatter
    rig.swing(rig.second + 99)
    assert rig.told[-1] == "chattering"
    assert rig.watch_state.records[KEY].chatter.count == before.chatter.count + 3


def test_a_record_of_an_earlier_version_is_steady() -> None:
    rig = Swinging()
    document = json.loads(rig.watch_state.records[KEY].to_json())
    del document["chatter"]
    assert LimitRecord.from_json(json.dumps(document), 0.0).chatter == STEADY


def test_a_suppressed_alarm_is_calm_only_once_it_is_released() -> None:
    flapping = a_silence(suppressed_by=(BROKER.key,), setpoint=20.0)
    rig = Swinging(BROKER, flapping)
    while rig.second < 250:
        rig.steps += rig.at(rig.second + 5, 20.0, well=[BROKER.key]).transitions
        for _ in range(3):
            rig.steps += rig.at(rig.second + 10, well=[BROKER.key]).transitions
    assert rig.told[-1] == "chattering"
    rig.to(rig.second + 2 * WINDOW_S)
    assert rig.told[-1] == "raised"
    assert rig.steps[-1].key == BROKER.key
    released = rig.second
    while rig.second < released + WINDOW_S + 10:
        rig.steps += rig.at(rig.second + 10, 20.0, well=[BROKER.key]).transitions
    assert rig.told[-2:] == ["returned", "calm"]
    assert [step.key for step in rig.steps if step.occasion][-2:] == [BROKER.key, flapping.key]
