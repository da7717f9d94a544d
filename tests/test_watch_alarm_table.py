"""The alarm's states, cell by cell."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import ids

from alerts.watch import AlarmEvent, AlarmState, ImpossibleStep, State, next_state
from alerts.watch.alarm import Cause, advance
from alerts.watch.alarm_table import ALARM_TABLE, Impossible, Stays, Step
from alerts.watch.condition import Condition

# One row a state, one column an event, in the order of AlarmEvent; "-" stays, "!" cannot happen, else the next state
# and what happens besides: o opens, c closes, r renews, then what is told.
EXPECTED = {
    "normal": ["unacknowledged o raised", "-", "-", "suppressed", "!", "!", "-", "normal calm"],
    "unacknowledged": [
        *("-", "returned returned", "acknowledged", "suppressed", "!", "!", "normal c removed"),
        "unacknowledged calm",
    ],
    "acknowledged": ["-", "normal c returned", "-", "suppressed", "!", "!", "normal c removed", "acknowledged calm"],
    "returned": [
        *("unacknowledged r raised", "-", "normal c", "suppressed", "!", "!", "normal c removed"),
        "returned calm",
    ],
    "suppressed": ["-", "-", "-", "-", "unacknowledged o raised", "normal c returned", "normal c removed", "-"],
}


def written(cell: object) -> str:
    if isinstance(cell, Stays):
        return "-"
    if isinstance(cell, Impossible):
        return "!"
    assert isinstance(cell, Step)
    marks = "o" * cell.opens + "c" * cell.closes + "r" * cell.renews
    return " ".join(part for part in (cell.to.value, marks, cell.occasion or "") if part)


def test_every_cell_of_the_table() -> None:
    table = {state.value: [written(ALARM_TABLE[state][event]) for event in AlarmEvent] for state in State}
    assert table == EXPECTED


def test_every_cell_that_does_nothing_says_why() -> None:
    cells = [cell for row in ALARM_TABLE.values() for cell in row.values() if not isinstance(cell, Step)]
    assert all(len(cell.why) > 10 for cell in cells)


@pytest.mark.parametrize("state", [state for state in State if state is not State.SUPPRESSED])
@pytest.mark.parametrize("event", [AlarmEvent.RELEASE_ACTIVE, AlarmEvent.RELEASE_NORMAL])
def test_what_is_not_suppressed_cannot_be_released(state: State, event: AlarmEvent) -> None:
    with pytest.raises(ImpossibleStep, match=f"'{event}' came to an alarm that is '{state}': .*cannot be released"):
        next_state(state, event)


@given(st.lists(st.sampled_from(list(AlarmEvent)), max_size=30))
def test_occurrences_open_and_close_in_turn_and_are_never_used_again(events: list[AlarmEvent]) -> None:
    alarm, next_id, open_now, opened = AlarmState("K1/pressure/low"), ids(), None, []
    raises = returns = 0
    for count, event in enumerate(events):
        if isinstance(ALARM_TABLE[alarm.state][event], Impossible):
            continue
        cause = Cause(count, Condition("K1/pressure/low", True, count, 3.0), by="Ana")
        after, transition, why = advance(alarm, event, cause, next_id)
        assert (transition is None) == bool(why) == isinstance(ALARM_TABLE[alarm.state][event], Stays)
        if transition is None:
            assert after == alarm
            continue
        if transition.closed is not None:
            assert transition.closed == open_now
            open_now = None
        if transition.opened is not None:
            assert open_now is None
            open_now = transition.opened
            opened.append(open_now)
        raises += transition.occasion == "raised"
        returns += transition.occasion == "returned"
        assert returns <= raises, "a return is told once for each raise"
        assert transition.occasion is None or transition.occurrence is not None
        alarm = after
        assert alarm.occurrence == open_now
        assert (alarm.occurrence is None) or alarm.state is not State.NORMAL
        assert (alarm.occurrence is not None) or alarm.state in (State.NORMAL, State.SUPPRESSED)
    assert len(set(opened)) == len(opened)
