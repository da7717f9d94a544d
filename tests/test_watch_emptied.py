"""Which limits an empty vessel silences: low pressure and temperature, and none other."""

from __future__ import annotations

from watch_limits import Rig, a_limit, a_silence

from alerts.watch.emptied import limits_on_wine, pointless

LOW = a_limit()
OVER = a_limit(key="K1/pressure/high", kind="high", setpoint=180.0)
WARM = a_limit(key="K1/temperature/high", kind="high", quantity="temperature", probe="t", setpoint=18.0)
COLD = a_limit(key="K1/temperature/low", quantity="temperature", probe="t", setpoint=4.0)
SILENCE = a_silence()
NO_HEAT = a_silence(key="K1/temperature/no-data", quantity="temperature", probe="t")
OTHER = a_limit(key="K2/pressure/low", at="K2", probe="k2-pressure")


def test_low_pressure_and_temperature_are_about_wine_and_nothing_else_is() -> None:
    limits = {limit.key: limit for limit in (LOW, OVER, WARM, COLD, SILENCE, NO_HEAT, OTHER)}
    found = limits_on_wine(limits)
    assert found == {"K1": {LOW.key, WARM.key, COLD.key}, "K2": {OTHER.key}}
    assert pointless(found, ()) == frozenset()
    assert pointless(found, ("K1", "K9")) == {LOW.key, WARM.key, COLD.key}


def test_a_limit_that_becomes_pointless_in_the_turn_of_its_breach_is_never_raised() -> None:
    rig = Rig(a_limit(on_delay_s=0.0), OTHER)
    rig.second = 5.0
    told = rig.watch.step(rig.book, [rig.reading(1.0, 5.0)], [], rig.now(), rig.next_occurrence, {LOW.key})
    assert [(step.key, str(step.to_state), step.occurrence) for step in told.transitions] == [
        (LOW.key, "suppressed", None)
    ]
    again = rig.watch.step(told.book, [], [], rig.now(), rig.next_occurrence, {LOW.key})
    assert again.transitions == []
    over = rig.watch.step(again.book, [], [], rig.now(), rig.next_occurrence)
    assert [(step.key, str(step.to_state)) for step in over.transitions] == [(LOW.key, "unacknowledged")]


def test_who_is_suppressed_twice_is_released_when_both_causes_are_over() -> None:
    care = a_limit(key="care", setpoint=20.0, on_delay_s=0.0, suppressed_by=LOW.key)
    rig = Rig(a_limit(on_delay_s=0.0, off_delay_s=0.0), care)
    rig.at(1.0, 2.0)
    assert rig.state("care") == "suppressed"
    rig.second = 2.0
    up = rig.watch.step(rig.book, [rig.reading(12.0, 2.0)], [], rig.now(), rig.next_occurrence, {"care", LOW.key})
    assert up.book.entries["care"].alarm.state.value == "suppressed"
    done = rig.watch.step(up.book, [], [], rig.now(), rig.next_occurrence)
    assert done.book.entries["care"].alarm.state.value == "unacknowledged"
