"""Several setpoints of one quantity: one fall is reported once, and once more when it gets worse."""

from __future__ import annotations

from watch_limits import Rig, a_limit

AIR = a_limit(key="air", setpoint=5.0, on_delay_s=0.0, off_delay_s=0.0)
LOWER = a_limit(key="lower", setpoint=12.0, on_delay_s=0.0, off_delay_s=0.0, priority="medium", suppressed_by=("air",))
CARE = a_limit(
    key="care", setpoint=20.0, on_delay_s=0.0, off_delay_s=0.0, priority="low", suppressed_by=("lower", "air")
)


def _announced(rig: Rig, *values: float) -> list[str]:
    """The messages of a reading every ten seconds: key and occasion."""
    messages = []
    for value in values:
        result = rig.at(rig.second + 10.0, value)
        messages += [f"{step.key} {step.occasion}" for step in result.transitions if step.occasion is not None]
    return messages


def test_a_milder_alarm_that_stands_when_the_worse_one_ends_is_not_raised_again() -> None:
    rig = Rig(CARE, AIR)
    assert _announced(rig, 30.0, 15.0, 3.0) == ["care raised", "air raised"]
    result = rig.at(rig.second + 10.0, 10.0)
    (returned,) = [step for step in result.transitions if step.occasion is not None]
    assert (returned.key, returned.still) == ("air", ("care",))
    assert rig.state("care") == "unacknowledged"
    assert _announced(rig, 10.0, 30.0) == ["care returned"]


def test_a_fall_at_once_to_the_worst_is_one_message_and_then_the_milder_one() -> None:
    rig = Rig(CARE, LOWER, AIR)
    assert _announced(rig, 30.0, 3.0) == ["air raised"]
    assert _announced(rig, 10.0) == ["air returned", "lower raised"]
    assert _announced(rig, 15.0) == ["lower returned", "care raised"]
    assert _announced(rig, 30.0) == ["care returned"]


def test_of_three_each_worse_one_is_reported_and_nothing_twice() -> None:
    rig = Rig(CARE, LOWER, AIR)
    assert _announced(rig, 30.0, 15.0, 10.0, 3.0) == ["care raised", "lower raised", "air raised"]
    assert _announced(rig, 15.0) == ["air returned", "lower returned"]
    assert rig.state("care") == "unacknowledged"
    assert _announced(rig, 3.0) == ["air raised"]
    assert _announced(rig, 30.0) == ["air returned", "care returned"]


def test_what_the_journal_quiets_is_raised_again_if_it_still_holds() -> None:
    """A keg whose pressure is low after the racking is news, unlike one whose worse alarm has ended."""
    rig = Rig(CARE, AIR)
    assert _announced(rig, 30.0, 15.0) == ["care raised"]
    rig.quiet = {"care": "a racking is under way", "air": "a racking is under way"}
    assert _announced(rig, 15.0) == []
    rig.quiet = {}
    assert _announced(rig, 15.0) == ["care raised"]
