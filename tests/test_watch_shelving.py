"""Shelving and out of service: what is allowed, when it ends, and what a wrong clock cannot do to it."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import EPOCH_MS, Rig, a_limit, a_silence

from alerts.watch import Now, TurnResult, WatchState
from alerts.watch.shelving import (
    LONGEST_OVERPRESSURE_S,
    LONGEST_S,
    Shelving,
    is_overpressure,
    longest_s,
    out_of_service_problem,
    shelving_problem,
)
from ingest.cellar import EffectiveLimit
from ingest.operator_event import OperatorEvent, OperatorEventKind

LOW = "K1/pressure/low"
HOUR = 3600.0
OVER = a_limit(key="K1/pressure/over", kind="high", role="over", setpoint=180.0)


class ClockedRig(Rig):
    """K1, with a wall clock that may be wrong, and restarts in the same boot or another."""

    clock_is_off_s = 0.0
    boot = "boot-1"

    def now(self) -> Now:
        utc_ms = EPOCH_MS + round((self.second + self.clock_is_off_s) * 1000)
        return Now(utc_ms, 500.0 + self.second, self.boot)

    def asks(self, kind: str, target: str = LOW, span_s: float | None = None, why: str = "lid off") -> TurnResult:
        return self.turn([], OperatorEvent(3, self.now().utc_ms, kind, target, "Ana", why, span_s))

    def shelves(self, span_s: float, target: str = LOW) -> TurnResult:
        return self.asks(OperatorEventKind.SHELVE, target, span_s)

    def restart(self, *, boot: str, known_ms: int = 0) -> None:
        rows = {key: record.to_json(self.boot) for key, record in self.watch_state.records.items()}
        self.boot = boot
        self.watch_state = WatchState.from_rows(rows, self.now(), known_ms=known_ms)

    def shelving(self) -> Shelving:
        shelving = self.watch_state.records[LOW].alarm.shelving
        assert shelving is not None
        return shelving


def a_breach() -> ClockedRig:
    rig = ClockedRig(a_limit(on_delay_s=0.0))
    rig.at(0, 3.0)
    return rig


def test_a_shelving_ends_to_the_tick_and_what_is_true_then_is_raised_again() -> None:
    rig = a_breach()
    rig.acknowledge(LOW)
    (step,) = rig.shelves(HOUR).transitions
    assert (step.by, step.note, step.occasion) == ("Ana", "until 2023-11-14T23:13:20.000Z: lid off", None)
    assert rig.at(HOUR - 0.001).transitions == []
    (ended,) = rig.at(HOUR).transitions
    assert (ended.event, ended.from_state, ended.to_state) == ("shelving ended", "shelved", "unacknowledged")
    assert (ended.occasion, ended.occurrence, ended.opened) == ("raised", "o1", None)
    assert (ended.by, ended.note) == (None, "shelved by Ana: lid off")
    assert rig.watch_state.records[LOW].alarm.shelving is None


def test_what_has_ended_before_is_not_raised_though_the_shelving_ends_in_the_same_turn() -> None:
    rig = ClockedRig(a_limit(on_delay_s=0.0, off_delay_s=0.0))
    rig.at(0, 3.0)
    rig.shelves(60.0)
    steps = rig.at(60, 9.0).transitions
    assert [(step.event, step.occasion) for step in steps] == [
        ("condition ended", None),
        ("shelving ended", "returned"),
    ]


@pytest.mark.parametrize("off_s", [-400 * 86400.0, -HOUR, HOUR, 400 * 86400.0])
def test_setting_the_clock_neither_ends_a_shelving_nor_keeps_it(off_s: float) -> None:
    rig = a_breach()
    rig.shelves(HOUR)
    rig.clock_is_off_s = off_s
    assert rig.at(1).transitions == []
    assert rig.shelving().until_ms == EPOCH_MS + round((HOUR + off_s) * 1000), (
        "people see the end by the clock as it is"
    )
    rig.restart(boot="boot-1")
    rig.clock_is_off_s = 0.0
    rig.restart(boot="boot-1")
    assert rig.at(HOUR - 1).transitions == []
    assert rig.shelving().until_ms == EPOCH_MS + round(HOUR * 1000)
    assert [step.event for step in rig.at(HOUR).transitions] == ["shelving ended"]


def test_a_small_step_of_the_clock_writes_nothing() -> None:
    rig = a_breach()
    rig.shelves(HOUR)
    rig.clock_is_off_s = 59.0
    assert rig.at(1).changed == {}
    rig.clock_is_off_s = 61.0
    assert list(rig.at(2).changed) == [LOW]


def test_after_a_reboot_it_goes_on_for_what_was_left() -> None:
    rig = a_breach()
    rig.shelves(HOUR)
    rig.second = 600.0
    rig.restart(boot="boot-2")
    assert rig.at(HOUR - 1).transitions == []
    assert [step.event for step in rig.at(HOUR).transitions] == ["shelving ended"]


def test_one_that_ended_while_the_machine_was_off_ends_at_the_start() -> None:
    rig = a_breach()
    rig.shelves(HOUR)
    rig.second = 2 * HOUR
    rig.restart(boot="boot-2")
    assert [step.event for step in rig.turn().transitions] == ["shelving ended"]


def test_a_board_that_starts_in_the_past_counts_from_what_is_stored() -> None:
    rig = a_breach()
    rig.shelves(HOUR)
    rig.second = 600.0
    rig.clock_is_off_s = -1e9
    rig.restart(boot="boot-2", known_ms=EPOCH_MS + 590_000)
    assert rig.at(HOUR + 9).transitions == []
    assert [step.event for step in rig.at(HOUR + 10).transitions] == ["shelving ended"]


@given(st.lists(st.tuples(st.floats(0, 600), st.floats(-1e9, 1e9), st.booleans()), max_size=8))
def test_whatever_the_clock_does_it_is_never_longer_than_its_span_after_a_start(
    days: list[tuple[float, float, bool]],
) -> None:
    rig = a_breach()
    rig.shelves(HOUR)
    since = 0.0
    for number, (pause, off_s, reboots) in enumerate(days):
        rig.second += pause
        rig.clock_is_off_s = off_s
        if reboots:
            rig.restart(boot=f"boot-{number + 2}")
            since = rig.second
        rig.turn()
    rig.at(since + HOUR + 0.001)
    assert rig.watch_state.records[LOW].alarm.shelving is None


def test_a_shelving_that_was_asked_while_leeside_was_away_has_been_running_since() -> None:
    rig = a_breach()
    rig.second = 1000.0
    asked = OperatorEvent(3, EPOCH_MS, OperatorEventKind.SHELVE, LOW, "Ana", "lid off", HOUR)
    rig.turn([], asked)
    assert rig.shelving().until_ms == EPOCH_MS + round(HOUR * 1000)
    late = rig.turn([], asked._replace(span_s=999.0))
    assert late.outcomes == [(3, f"nothing done: {LOW}: its end has passed already; give a time from now on")]
    assert late.transitions == []


def test_shelving_again_sets_another_end() -> None:
    rig = a_breach()
    rig.shelves(HOUR)
    rig.second = 60.0
    (step,) = rig.shelves(60.0).transitions
    assert (step.from_state, step.to_state) == ("shelved", "shelved")
    assert [step.event for step in rig.at(120).transitions] == ["shelving ended"]


def test_a_limit_is_found_by_the_id_of_a_closed_alarm_and_by_a_key_that_is_new() -> None:
    rig = ClockedRig(a_limit(on_delay_s=0.0, off_delay_s=0.0))
    rig.at(0, 3.0)
    rig.acknowledge("o1")
    rig.at(1, 9.0)
    assert rig.shelves(HOUR, "O1").outcomes == [(3, f"muted: {LOW}")]
    rig.asks(OperatorEventKind.UNSHELVE)
    rig.watch_state = WatchState()
    assert rig.shelves(HOUR).outcomes == [(3, f"muted: {LOW}")]


def test_out_of_service_has_no_end() -> None:
    rig = a_breach()
    rig.asks(OperatorEventKind.TAKE_OUT_OF_SERVICE)
    assert rig.at(400 * 86400.0).transitions == []
    rig.restart(boot="boot-2")
    out = rig.watch_state.records[LOW].alarm.out_of_service
    assert out is not None
    assert (out.by, out.why, out.at_ms) == ("Ana", "lid off", EPOCH_MS)
    (back,) = rig.asks(OperatorEventKind.RETURN_TO_SERVICE).transitions
    assert (back.to_state, back.occasion) == ("unacknowledged", "raised")


def test_what_ends_while_another_reason_stands_says_so() -> None:
    rig = a_breach()
    rig.shelves(HOUR)
    rig.quiet = {LOW: "the vessel is empty"}
    rig.at(1)
    answer = rig.asks(OperatorEventKind.UNSHELVE).outcomes
    assert answer == [(3, f"watched again: {LOW}, but not announced yet: it is suppressed by design")]
    assert rig.state() == "suppressed"
    assert rig.watch_state.records[LOW].alarm.suppressed_because == "the vessel is empty"


@pytest.mark.parametrize(
    ("limit", "overpressure"),
    [
        (OVER, True),
        (replace(OVER, key="own", role="", priority="high"), True),
        (replace(OVER, key="own", role="", priority="medium"), False),
        (replace(OVER, key="other", role="", priority="medium", probe="k2-pressure"), True),
        (a_limit(), False),
        (a_limit(kind="high", quantity="temperature"), False),
        (a_silence(), False),
    ],
)
def test_how_long_a_limit_may_be_shelved(limit: EffectiveLimit, overpressure: bool) -> None:
    limits = {OVER.key: OVER, limit.key: limit}
    assert is_overpressure(limit, limits) is overpressure
    assert longest_s(limit, limits) == (LONGEST_OVERPRESSURE_S if overpressure else LONGEST_S)


def test_what_is_not_allowed_is_named() -> None:
    low = a_limit()
    assert shelving_problem(low, {}, LONGEST_S, "lid off") == ""
    assert "at most 7 days at a time, not 8 days" in shelving_problem(low, {}, 8 * 86400.0, "lid off")
    assert "has passed already" in shelving_problem(low, {}, 0.0, "lid off")
    assert "has passed already" in shelving_problem(low, {}, float("nan"), "lid off")
    assert "needs a reason" in shelving_problem(low, {}, 60.0, "  ")
    assert "at most 1 h at a time, not 90 min" in shelving_problem(OVER, {}, 5400.0, "lid off")
    assert out_of_service_problem(low, {}, "lid off") == ""
    assert "needs a reason" in out_of_service_problem(low, {}, "")
    assert "overpressure cannot be taken out of service" in out_of_service_problem(OVER, {}, "lid off")


@pytest.mark.parametrize(
    ("kind", "span_s"), [(OperatorEventKind.SHELVE, 2 * HOUR), (OperatorEventKind.TAKE_OUT_OF_SERVICE, None)]
)
def test_what_is_not_allowed_changes_nothing(kind: str, span_s: float | None) -> None:
    rig = ClockedRig(OVER)
    result = rig.asks(kind, OVER.key, span_s)
    assert result.outcomes[0][1].startswith(f"nothing done: {OVER.key}: overpressure can")
    assert (result.transitions, result.changed) == ([], {})


def test_records_of_a_former_version_have_only_the_state() -> None:
    rig = ClockedRig(a_limit(on_delay_s=0.0))
    rig.quiet = {LOW: "the vessel is empty"}
    rig.at(0, 3.0)
    stored = json.loads(rig.watch_state.records[LOW].to_json())
    for name in ("suppressed", "suppressed_because", "shelving", "out_of_service"):
        del stored["alarm"][name]
    rig.watch_state = WatchState.from_rows({LOW: json.dumps(stored)}, rig.now())
    assert rig.at(1, 3.0).transitions == []
    assert rig.state() == "suppressed"
    rig.quiet = {}
    assert [step.event for step in rig.at(2).transitions] == ["released"]
