"""The alarm's states, cell by cell, and the sequences of the standard.

Clauses of IEC 62682 and ANSI/ISA-18.2 are named from memory: section 5.2.4 of ISA-18.2 has the state model.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import ids

from alerts.watch import AlarmEvent, AlarmState, ImpossibleStep, Occasion, State, next_state
from alerts.watch.alarm import Cause, advance
from alerts.watch.alarm_table import ALARM_TABLE, MUTING, Impossible, Mutes, Stays, Step, Unmutes, muted_as
from alerts.watch.condition import Condition
from alerts.watch.shelving import OutOfService, Shelving

# One row a state, one column an event, in the order of AlarmEvent; "-" stays, "!" cannot happen, "+" and "~" a reason
# to be muted begins and ends, else the next state and what happens besides: o opens, c closes, r renews, then what is
# announced.
NOT_MUTED = ["+ shelved", "-", "!", "+ suppressed", "!", "+ out of service", "-"]
EXPECTED = {
    "normal": ["unacknowledged o raised", "-", "-", *NOT_MUTED, "-", "normal calm"],
    "unacknowledged": [
        *("-", "returned returned", "acknowledged", *NOT_MUTED),
        *("normal c removed", "unacknowledged calm"),
    ],
    "acknowledged": ["-", "normal c returned", "-", *NOT_MUTED, "normal c removed", "acknowledged calm"],
    "returned": ["unacknowledged r raised", "-", "normal c", *NOT_MUTED, "normal c removed", "returned calm"],
    "shelved": [
        *("shelved", "shelved", "-", "+ shelved", "~ shelved", "~ shelved", "+ suppressed", "~ suppressed"),
        *("+ out of service", "-", "normal c removed", "-"),
    ],
    "suppressed": [
        *("-", "-", "-", "+ shelved", "-", "!", "-", "~ suppressed", "+ out of service", "-"),
        *("normal c removed", "-"),
    ],
    "out of service": [
        *("out of service", "out of service", "-", "-", "~ shelved", "~ shelved", "+ suppressed", "~ suppressed"),
        *("-", "~ out of service", "normal c removed", "-"),
    ],
}
KEY = "K1/pressure/low"


def written(cell: object) -> str:
    if isinstance(cell, Stays):
        return "-"
    if isinstance(cell, Impossible):
        return "!"
    if isinstance(cell, Mutes | Unmutes):
        return f"{'+' if isinstance(cell, Mutes) else '~'} {cell.reason}"
    assert isinstance(cell, Step)
    marks = "o" * cell.opens + "c" * cell.closes + "r" * cell.renews
    return " ".join(part for part in (cell.to.value, marks, cell.occasion or "") if part)


def test_every_cell_of_the_table() -> None:
    table = {state.value: [written(ALARM_TABLE[state][event]) for event in AlarmEvent] for state in State}
    assert table == EXPECTED


def test_every_cell_that_does_nothing_says_why() -> None:
    cells = [cell for row in ALARM_TABLE.values() for cell in row.values()]
    reasons = [cell.why for cell in cells if isinstance(cell, Stays | Impossible | Unmutes)]
    assert all(len(why) > 10 for why in reasons)


@pytest.mark.parametrize("state", [state for state in State if state not in MUTING])
@pytest.mark.parametrize(
    ("event", "why"), [(AlarmEvent.RELEASE, "cannot be released"), (AlarmEvent.SHELVING_ENDED, "cannot end")]
)
def test_what_is_not_muted_cannot_be_released(state: State, event: AlarmEvent, why: str) -> None:
    with pytest.raises(ImpossibleStep, match=f"'{event}' came to an alarm that is '{state}': .*{why}"):
        next_state(state, event)


MUTE_OF = {
    AlarmEvent.SHELVE: State.SHELVED,
    AlarmEvent.SUPPRESS: State.SUPPRESSED,
    AlarmEvent.TAKE_OUT: State.OUT_OF_SERVICE,
}
END_OF = {
    AlarmEvent.UNSHELVE: State.SHELVED,
    AlarmEvent.SHELVING_ENDED: State.SHELVED,
    AlarmEvent.RELEASE: State.SUPPRESSED,
    AlarmEvent.RETURN_TO_SERVICE: State.OUT_OF_SERVICE,
}
REASONS = st.frozensets(st.sampled_from(MUTING))


@given(REASONS, st.sampled_from(list(END_OF)), st.booleans())
def test_only_the_end_of_the_last_reason_announces(reasons: frozenset[State], event: AlarmEvent, active: bool) -> None:
    ended = END_OF[event]
    state = muted_as(reasons)
    if state is None or ended not in reasons:
        return
    step, left = next_state(state, event, reasons, active=active)
    assert isinstance(step, Step)
    assert left == reasons - {ended}
    if left:
        assert (step.to, step.occasion, step.opens, step.closes) == (muted_as(left), None, False, False)
    elif active:
        assert (step.to, step.occasion, step.opens) == (State.UNACKNOWLEDGED, Occasion.RAISED, True)
    else:
        assert (step.to, step.occasion, step.closes) == (State.NORMAL, Occasion.RETURNED, True)


def test_a_reason_that_does_not_stand_cannot_end() -> None:
    both = (State.OUT_OF_SERVICE, State.SUPPRESSED)
    assert next_state(State.OUT_OF_SERVICE, AlarmEvent.UNSHELVE, both) == (Stays("it is not muted"), frozenset(both))
    with pytest.raises(ImpossibleStep, match="shelving of an alarm that is not shelved cannot end"):
        next_state(State.OUT_OF_SERVICE, AlarmEvent.SHELVING_ENDED, both)
    with pytest.raises(ImpossibleStep, match="not suppressed cannot be released"):
        next_state(State.SHELVED, AlarmEvent.RELEASE, (State.SHELVED,))


def test_a_reason_that_stands_does_not_begin_twice_but_a_shelving_gets_another_end() -> None:
    both = frozenset((State.SHELVED, State.SUPPRESSED))
    assert isinstance(next_state(State.SHELVED, AlarmEvent.SUPPRESS, both)[0], Stays)
    assert next_state(State.SHELVED, AlarmEvent.SHELVE, both) == (Step(State.SHELVED), both)


# ---- the standard's sequences ----------------------------------------------------------------------------------

LETTERS = {
    "A": State.NORMAL,
    "B": State.UNACKNOWLEDGED,
    "C": State.ACKNOWLEDGED,
    "D": State.RETURNED,
    "G": State.SHELVED,
    "H": State.SUPPRESSED,
    "I": State.OUT_OF_SERVICE,
}


class Life:
    """One alarm that the test takes from state to state. Its condition follows what begins and ends."""

    def __init__(self) -> None:
        self.alarm = AlarmState(KEY)
        self.next_id = ids()
        self.active = False
        self.at_ms = 0

    def takes(self, event: AlarmEvent) -> Occasion | None:
        if event in (AlarmEvent.BEGAN, AlarmEvent.ENDED):
            self.active = event is AlarmEvent.BEGAN
        self.at_ms += 1000
        cause = Cause(
            self.at_ms,
            Condition(KEY, self.active, self.at_ms, 3.0),
            by="Ana",
            shelving=Shelving("Ana", self.at_ms, "lid off", 60.0, self.at_ms + 60_000, 60.0),
            out_of_service=OutOfService("Ana", self.at_ms, "lid off"),
        )
        self.alarm, transition, _ = advance(self.alarm, event, cause, self.next_id)
        return None if transition is None else transition.occasion


E = AlarmEvent


@pytest.mark.parametrize(
    ("events", "letters", "announced"),
    [
        # Normal, alarm, acknowledge, return to normal.
        ([E.BEGAN, E.ACKNOWLEDGE, E.ENDED], "BCA", ["raised", None, "returned"]),
        # Return before anyone has acknowledged, then acknowledge.
        ([E.BEGAN, E.ENDED, E.ACKNOWLEDGE], "BDA", ["raised", "returned", None]),
        # Re-alarm of what nobody has acknowledged: the next occurrence.
        ([E.BEGAN, E.ENDED, E.BEGAN], "BDB", ["raised", "returned", "raised"]),
        # Shelve from each of A to D, and unshelve with the condition false or true.
        ([E.SHELVE, E.SHELVING_ENDED], "GA", [None, None]),
        ([E.SHELVE, E.BEGAN, E.SHELVING_ENDED], "GGB", [None, None, "raised"]),
        ([E.BEGAN, E.SHELVE, E.UNSHELVE], "BGB", ["raised", None, "raised"]),
        ([E.BEGAN, E.SHELVE, E.ENDED, E.UNSHELVE], "BGGA", ["raised", None, None, "returned"]),
        ([E.BEGAN, E.ACKNOWLEDGE, E.SHELVE, E.SHELVING_ENDED], "BCGB", ["raised", None, None, "raised"]),
        ([E.BEGAN, E.ENDED, E.SHELVE, E.UNSHELVE], "BDGA", ["raised", "returned", None, None]),
        # Suppressed by design.
        ([E.SUPPRESS, E.BEGAN, E.RELEASE], "HHB", [None, None, "raised"]),
        ([E.BEGAN, E.ACKNOWLEDGE, E.SUPPRESS, E.RELEASE], "BCHB", ["raised", None, None, "raised"]),
        # Out of service: acknowledging there does nothing.
        ([E.TAKE_OUT, E.BEGAN, E.ACKNOWLEDGE, E.RETURN_TO_SERVICE], "IIIB", [None, None, None, "raised"]),
        ([E.BEGAN, E.TAKE_OUT, E.ENDED, E.RETURN_TO_SERVICE], "BIIA", ["raised", None, None, "returned"]),
        # Several reasons: nothing until the last has ended, in whatever order. This project's reading.
        ([E.SHELVE, E.SUPPRESS, E.BEGAN, E.SHELVING_ENDED, E.RELEASE], "GGGHB", [None, None, None, None, "raised"]),
        ([E.SUPPRESS, E.SHELVE, E.RELEASE, E.BEGAN, E.UNSHELVE], "HGGGB", [None, None, None, None, "raised"]),
        ([E.SHELVE, E.TAKE_OUT, E.SHELVING_ENDED, E.RETURN_TO_SERVICE], "GIIA", [None, None, None, None]),
        ([E.SHELVE, E.TAKE_OUT, E.RETURN_TO_SERVICE, E.BEGAN, E.UNSHELVE], "GIGGB", [None, None, None, None, "raised"]),
    ],
)
def test_the_sequences_of_the_standard(events: list[AlarmEvent], letters: str, announced: list[str | None]) -> None:
    life = Life()
    took = [(life.takes(event), life.alarm.state) for event in events]
    assert [state for _, state in took] == [LETTERS[letter] for letter in letters]
    assert [occasion for occasion, _ in took] == announced


@given(st.lists(st.sampled_from(list(AlarmEvent)), max_size=40))
def test_occurrences_open_and_close_in_turn_and_are_never_used_again(events: list[AlarmEvent]) -> None:
    alarm, next_id, open_now, opened = AlarmState(KEY), ids(), None, []
    shelving, out = Shelving("Ana", 0, "lid off", 60.0, 60_000, 60.0), OutOfService("Ana", 0, "lid off")
    raises = returns = 0
    for count, event in enumerate(events):
        cause = Cause(count, Condition(KEY, True, count, 3.0), by="Ana", shelving=shelving, out_of_service=out)
        try:
            step, mutes = next_state(alarm.state, event, alarm.mutes, active=True)
        except ImpossibleStep:
            continue
        after, transition, why = advance(alarm, event, cause, next_id)
        assert (transition is None) == bool(why) == isinstance(step, Stays)
        assert after.mutes == mutes
        assert after.state is (muted_as(after.mutes) or after.state)
        assert (after.state in MUTING) == bool(after.mutes)
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
        assert transition.occasion is None or after.state not in MUTING
        alarm = after
        assert alarm.occurrence == open_now
        assert (alarm.occurrence is None) or alarm.state is not State.NORMAL
        assert (alarm.occurrence is not None) or alarm.state is State.NORMAL or alarm.state in MUTING
    assert len(set(opened)) == len(opened)
