"""Work that falls due: which limits there are for it, and when their condition begins and ends."""

from __future__ import annotations

from typing import Any

import pytest
from cellar_text import BASE, CARBOY, cellar, table
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import EPOCH_MS

from alerts.watch.due import DAY_MS, DueLimit, due_limits, judge, limit_of_gone_work
from alerts.watch.level import LevelTrack
from alerts.watch.turn_inputs import DueFact
from ingest.cellar import DUE_WORK, due_rules
from ingest.journal.awaited_work import AwaitedWork


def limits(*awaited: AwaitedWork, more: str = "") -> dict[str, DueLimit]:
    return due_limits(due_rules(cellar(BASE, CARBOY, more).limit), awaited)


def titration(place: str = "K1", lot: str = "A1", days_ago: int = 10, **changes: Any) -> AwaitedWork:
    work = AwaitedWork("titration", place, "keg", EPOCH_MS - days_ago * DAY_MS, True, lot)
    return work._replace(**changes)


def rule(**keys: Any) -> str:
    return table("[[limit]]", **{"due": "titration", "after": "9 d", **keys})


# ---- which limits there are -----------------------------------------------------------------------------------------


def test_a_limit_has_the_words_and_the_time_of_its_work() -> None:
    (made,) = limits(titration()).values()
    limit, fact = made
    assert (limit.key, limit.kind, limit.at, limit.lot, limit.quantity) == (
        "A1/titration",
        "due",
        "K1",
        "A1",
        "titration",
    )
    assert (limit.setpoint, limit.priority, limit.hours, limit.origin) == (31, "low", "digest", "default")
    assert limit.action == DUE_WORK["titration"].action
    assert fact == DueFact(EPOCH_MS - 10 * DAY_MS, EPOCH_MS + 21 * DAY_MS, "last titrated")
    (never,) = limits(titration(is_done=False)).values()
    assert never.fact.finding == "filled"


def test_a_lot_in_two_vessels_is_one_limit_by_the_vessel_that_is_first_due() -> None:
    made = limits(titration("K1", days_ago=3), titration("K2", days_ago=20), titration("K3", lot="B2"))
    assert {key: each.limit.at for key, each in made.items()} == {"A1/titration": "K2", "B2/titration": "K3"}


def test_a_lot_keeps_its_key_when_it_is_racked() -> None:
    assert limits(titration("K1")).keys() == limits(titration("K2")).keys()


@pytest.mark.parametrize(
    ("more", "key", "after"),
    [
        (rule(lot="any"), "A1/titration", 9),
        (rule(lot="A1"), "A1/titration", 9),
        (rule(lot="B2"), "A1/titration", 31),
        (rule(at="K1"), "K1/titration", 9),
        (rule(lot="any", id="tests"), "tests/A1", 9),
        (rule(lot="A1", id="test-a1"), "test-a1", 9),
        (rule(at="K1", id="test-k1"), "test-k1", 9),
        (rule(lot="any", after="40 d") + rule(lot="A1", after="5 d"), "A1/titration", 5),
    ],
)
def test_the_closest_rule_counts(more: str, key: str, after: float) -> None:
    made = limits(titration(), more=more)
    assert [(found, each.limit.setpoint) for found, each in made.items()] == [(key, after)]
    assert all(each.limit.origin == ("default" if after == 31 else "file") for each in made.values())


@pytest.mark.parametrize(
    ("work", "key", "after"),
    [
        (AwaitedWork("airlock", "C1", "carboy", EPOCH_MS, False, "A1"), "C1/airlock", 7),
        (AwaitedWork("topping", "B1", "barrel", EPOCH_MS, True, "A1"), "B1/topping", 28),
        (AwaitedWork("calibration", "K1", "pH", EPOCH_MS, True, name="k1-ph"), "k1-ph/calibration", 31),
        (AwaitedWork("titrant", "", "iodide-iodate", EPOCH_MS, True, name="iodate 2"), "iodide-iodate/titrant", 183),
    ],
)
def test_the_default_time_is_that_of_the_sort(work: AwaitedWork, key: str, after: float) -> None:
    (made,) = limits(work).values()
    assert (made.limit.key, made.limit.setpoint) == (key, after)


@pytest.mark.parametrize(("work", "sort"), [("topping", "keg"), ("airlock", "barrel"), ("titration", "bottle")])
def test_a_sort_that_needs_no_such_work_has_no_limit(work: str, sort: str) -> None:
    assert limits(AwaitedWork(work, "X1", sort, EPOCH_MS, True, "A1")) == {}


def test_each_probe_at_a_place_has_its_own_limit() -> None:
    probes = [AwaitedWork("calibration", "K1", "pH", EPOCH_MS, True, name=name) for name in ("a", "b")]
    made = limits(*probes, more=table("[[limit]]", due="calibration", after="9 d", at="K1", id="check"))
    assert list(made) == ["check/a", "check/b"]


def test_a_re_test_that_is_due_stands_for_the_titration() -> None:
    made = limits(titration(), titration(work="re-test"), titration("K2", "B2"))
    assert made["A1/titration"].limit.suppressed_by == ("A1/re-test",)
    assert made["B2/titration"].limit.suppressed_by == ()
    assert made["A1/re-test"].limit.suppressed_by == ()


# ---- when the condition begins and ends -----------------------------------------------------------------------------

LIMIT = limit_of_gone_work("A1/titration", 31)


def fact(from_day: float, after_days: float = 31, finding: str = "last titrated") -> DueFact:
    return DueFact(day(from_day), day(from_day + after_days), finding)


def day(number: float) -> int:
    return EPOCH_MS + round(number * DAY_MS)


def test_it_begins_to_the_millisecond_and_ends_when_the_work_was_done() -> None:
    track, changes = judge(LevelTrack(), LIMIT, fact(0), now_ms=day(31) - 1)
    assert (track.active, changes) == (False, [])
    track, (begun,) = judge(track, LIMIT, fact(0), now_ms=day(31))
    assert (begun.active, begun.since_ms, begun.value, begun.finding) == (True, day(31), 31.0, "last titrated")
    track, changes = judge(track, LIMIT, fact(0), now_ms=day(40))
    assert (track.active, changes) == (True, [])
    track, (ended,) = judge(track, LIMIT, fact(39), now_ms=day(40))
    assert (ended.active, ended.since_ms, ended.finding) == (False, day(39), "last titrated")


def test_work_that_is_no_longer_awaited_is_not_due() -> None:
    track, _ = judge(LevelTrack(), LIMIT, fact(0), now_ms=day(31))
    track, (ended,) = judge(track, LIMIT, None, now_ms=day(33))
    assert (ended.active, ended.since_ms, ended.finding) == (False, day(33), "")
    assert judge(track, LIMIT, None, now_ms=day(34)) == (track, [])


def test_work_that_was_done_but_is_due_again_stays_one_alarm() -> None:
    track, _ = judge(LevelTrack(), LIMIT, fact(0, finding="filled"), now_ms=day(80))
    track, changes = judge(track, LIMIT, fact(40), now_ms=day(81))
    assert (track.active, track.since_ms, track.finding, changes) == (True, day(71), "last titrated", [])


def test_a_strike_makes_it_due_again() -> None:
    track, _ = judge(LevelTrack(), LIMIT, fact(0), now_ms=day(31))
    track, _ = judge(track, LIMIT, fact(31), now_ms=day(32))
    track, (again,) = judge(track, LIMIT, fact(0), now_ms=day(33))
    assert (again.active, again.since_ms) == (True, day(31))


def test_a_clock_that_goes_back_ends_nothing() -> None:
    track, _ = judge(LevelTrack(), LIMIT, fact(0), now_ms=day(31))
    assert judge(track, LIMIT, fact(0), now_ms=day(5)) == (track, [])


def test_a_longer_time_ends_it() -> None:
    track, _ = judge(LevelTrack(), LIMIT, fact(0), now_ms=day(31))
    assert judge(track, LIMIT, fact(0, after_days=60), now_ms=day(32))[1][0].active is False


@given(st.lists(st.tuples(st.floats(0, 5), st.none() | st.floats(0, 60)), max_size=30))
def test_each_change_is_another_one_and_agrees_with_the_journal(steps: list[tuple[float, float | None]]) -> None:
    """Time only goes on; the work is done, or not awaited, in any order."""
    track, now, state = LevelTrack(), 60.0, False
    for passed, from_day in steps:
        now += passed
        known = None if from_day is None else fact(from_day)
        track, changes = judge(track, LIMIT, known, now_ms=day(now))
        for change in changes:
            assert change.active is not state
            state = change.active
        assert len(changes) <= 1
        assert track.active is state
        is_due = known is not None and known.due_ms <= day(now)
        if is_due or known is None:
            assert state is is_due
        if state and known is not None and is_due:
            assert track.since_ms == known.due_ms
