"""What the journal quiets: which limits, and that an on-delay has its whole time after it."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from watch_limits import Rig, a_limit, a_silence

from alerts.watch import WatchState
from alerts.watch.journal_suppression import EMPTY_NOTE, RACKING_NOTE, JournalSuppression

LOW = a_limit()
CARE = a_limit(key="K1/pressure/care", setpoint=20.0, on_delay_s=0.0, suppressed_by=(LOW.key,))
OVER = a_limit(key="K1/pressure/high", kind="high", setpoint=180.0)
WARM = a_limit(key="K1/temperature/high", kind="high", quantity="temperature", probe="t", setpoint=18.0)
COLD = a_limit(key="K1/temperature/low", quantity="temperature", probe="t", setpoint=4.0)
SILENCE = a_silence()
NO_HEAT = a_silence(key="K1/temperature/no-data", quantity="temperature", probe="t")
OTHER = a_limit(key="K2/pressure/low", at="K2", probe="k2-pressure")
LEAK = a_limit(key="K1/leak_rate/high", kind="high", quantity="leak_rate", probe="K1/leak_rate", setpoint=0.5)
COMPENSATED = a_limit(key="K1/compensated_pressure/low", quantity="compensated_pressure", probe="K1/compensated")


def _quieted(rig: Rig, *keys: str, why: str = EMPTY_NOTE) -> None:
    rig.quiet = dict.fromkeys(keys or rig.limits, why)


def test_an_empty_vessel_quiets_limits_on_wine_and_a_racking_those_on_its_gas() -> None:
    limits = (LOW, CARE, OVER, WARM, COLD, SILENCE, NO_HEAT, OTHER, LEAK, COMPENSATED)
    quiet = JournalSuppression({limit.key: limit for limit in limits})
    on_gas = (LOW.key, CARE.key, LEAK.key, COMPENSATED.key)
    assert quiet.keys((), ()) == {}
    assert quiet.keys(("K1", "K9"), ()) == dict.fromkeys((*on_gas, WARM.key, COLD.key), EMPTY_NOTE)
    assert quiet.keys((), ("K1", "K9")) == dict.fromkeys(on_gas, RACKING_NOTE)
    assert quiet.keys(("K2",), ("K1", "K2")) == {
        **dict.fromkeys(on_gas, RACKING_NOTE),
        OTHER.key: EMPTY_NOTE,
    }


def test_what_is_quieted_in_the_turn_of_its_breach_is_never_raised() -> None:
    rig = Rig(a_limit(on_delay_s=0.0), OTHER)
    _quieted(rig, LOW.key, "of/no/limit")
    told = rig.at(5.0, 1.0)
    assert [(step.key, str(step.to_state), step.occurrence, step.note) for step in told.transitions] == [
        (LOW.key, "suppressed", None, EMPTY_NOTE)
    ]
    assert rig.at(6.0, 1.0).transitions == []
    rig.quiet = {}
    assert [str(step.to_state) for step in rig.at(7.0, 1.0).transitions] == ["unacknowledged"]


def test_a_refilled_keg_has_its_whole_on_delay() -> None:
    rig = Rig(a_limit(), CARE)
    _quieted(rig)
    for second in range(0, 600, 10):
        rig.at(second, 0.0)
    rig.quiet = {}
    for second in range(600, 660, 10):
        rig.at(second, 0.0)
        assert rig.state() == "normal", second
    rig.at(660, 0.0)
    assert rig.state() == "unacknowledged"
    assert rig.watch_state.records[LOW.key].alarm.since_ms == rig.reading(0.0, 600).at_ms


def test_a_keg_that_is_brought_to_pressure_within_the_on_delay_raises_nothing() -> None:
    rig = Rig(a_limit())
    _quieted(rig, why=RACKING_NOTE)
    rig.at(0, 0.0)
    rig.at(300, 0.0)
    rig.quiet = {}
    assert [step for second in (310, 330, 350) for step in rig.at(second, 0.0).transitions if step.occasion] == []
    rig.at(365, 55.0)
    for second in range(370, 700, 10):
        assert rig.at(second, 55.0).transitions == []


def test_an_on_delay_that_ran_before_begins_anew_and_so_does_one_of_a_restart() -> None:
    rig = Rig(a_limit())
    rig.at(0, 3.0)
    rig.at(50, 3.0)
    _quieted(rig)
    rig.at(55)
    rows = {key: record.to_json() for key, record in rig.watch_state.records.items()}
    rig.watch_state = WatchState.from_rows(rows, rig.now())
    rig.quiet = {}
    rig.at(65, 3.0)
    assert rig.state() == "normal"
    rig.at(125, 3.0)
    assert rig.state() == "unacknowledged"


def test_an_open_alarm_waits_and_is_told_again_if_its_condition_never_ended() -> None:
    rig = Rig(a_limit(on_delay_s=0.0))
    rig.at(0, 3.0)
    _quieted(rig)
    rig.at(10, 3.0)
    assert rig.state() == "suppressed"
    rig.at(20, 2.0)
    rig.quiet = {}
    (again,) = rig.at(30).transitions
    assert (again.occasion, again.occurrence) == ("raised", "o1")


def test_an_open_alarm_whose_condition_ended_meanwhile_closes_whatever_came_after() -> None:
    rig = Rig(a_limit(on_delay_s=0.0, off_delay_s=0.0))
    rig.at(0, 3.0)
    _quieted(rig)
    rig.at(10, 55.0)
    rig.at(20, 0.0)
    rig.at(200, 0.0)
    rig.quiet = {}
    (closed,) = rig.at(210).transitions
    assert (closed.occasion, closed.closed, closed.to_state) == ("returned", "o1", "normal")


def test_who_is_suppressed_twice_is_released_when_both_causes_are_over() -> None:
    rig = Rig(a_limit(on_delay_s=0.0, off_delay_s=0.0), CARE)
    rig.at(1.0, 2.0)
    assert rig.state(CARE.key) == "suppressed"
    _quieted(rig)
    rig.at(2.0, 12.0)
    assert rig.state(CARE.key) == "suppressed"
    rig.quiet = {}
    rig.at(3.0)
    assert rig.state(CARE.key) == "normal"
    rig.at(4.0, 12.0)
    assert rig.state(CARE.key) == "unacknowledged"


def test_quiet_readings_alone_write_nothing() -> None:
    rig = Rig(a_limit(), a_silence())
    _quieted(rig, LOW.key)
    rig.at(0, 0.0)
    assert all(rig.at(second, 0.0).changed == {} for second in range(10, 600, 10))


# Ten seconds each: whether the journal quiets the limit, and what the probe says (None: nothing).
_TENS = st.lists(st.tuples(st.booleans(), st.sampled_from([None, 0.0, 0.0, 55.0])), min_size=1, max_size=60)


@given(_TENS, st.sampled_from([0.0, 10.0, 30.0, 60.0]))
def test_nothing_is_raised_while_quieted_or_before_the_on_delay_after_it(
    tens: list[tuple[bool, float | None]], on_delay_s: float
) -> None:
    rig = Rig(a_limit(on_delay_s=on_delay_s, off_delay_s=0.0), a_silence(setpoint=3600.0))
    released = 0.0
    low_since: float | None = None
    open_before = False
    for number, (quiet, value) in enumerate(tens):
        second = 10.0 * number
        if quiet:
            open_before = open_before or rig.state() not in ("normal", "suppressed")
            released, low_since = second + 10.0, None
            _quieted(rig, LOW.key)
        else:
            rig.quiet = {}
        result = rig.at(second, *([] if value is None else [value]))
        if value is not None and not quiet:
            low_since = None if value > 5.0 else second if low_since is None else low_since
        raised = [step for step in result.transitions if step.occasion == "raised"]
        if raised and not open_before:
            assert not quiet
            assert second - released >= (on_delay_s if released else 0.0)
            assert low_since is not None and second - low_since >= on_delay_s
        # And it is never forgotten: a value that stays low for the on-delay after the release is raised.
        if value == 0.0 and not quiet and low_since is not None and second - low_since >= on_delay_s:
            assert rig.watch_state.records[LOW.key].track.active
            assert rig.state() in ("unacknowledged", "acknowledged")
        if rig.state() in ("normal", "returned"):
            open_before = False


def test_the_reason_is_the_present_one_also_after_a_restart_and_no_step_of_its_own() -> None:
    rig = Rig(LOW)
    rig.at(0, 55.0)
    _quieted(rig, why=RACKING_NOTE)
    rig.at(10, 55.0)
    _quieted(rig)
    assert rig.at(20).transitions == []
    assert rig.watch_state.records[LOW.key].alarm.suppressed_because == EMPTY_NOTE
    stored = {key: record.to_json() for key, record in rig.watch_state.records.items()}
    assert WatchState.from_rows(stored, rig.now()).records[LOW.key].alarm.suppressed_because == EMPTY_NOTE


def test_a_worse_alarm_that_suppresses_stays_the_reason_beside_the_journal() -> None:
    rig = Rig(LOW, CARE)
    rig.at(0, 55.0)
    rig.at(10, 3.0)
    rig.at(75, 3.0)
    assert rig.state(CARE.key) == "suppressed"
    _quieted(rig, CARE.key)
    rig.at(80)
    assert rig.watch_state.records[CARE.key].alarm.suppressed_because == f"{LOW.key} is active"
