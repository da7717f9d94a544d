"""Limits of the file on work that falls due, and what is wrong with one."""

from __future__ import annotations

from typing import Any

import pytest
from cellar_text import BASE, CARBOY, cellar, problems, table

from ingest.cellar import DUE_WORK, DueRule, due_rules


def due(**keys: Any) -> str:
    return table("[[limit]]", **keys)


def rules(*pieces: str) -> list[DueRule]:
    return [rule for rule in due_rules(cellar(BASE, CARBOY, *pieces).limit) if not rule.is_default]


def test_a_limit_on_due_work_needs_little() -> None:
    (rule,) = rules(due(due="titration", after="21 d", lot="any"))
    assert (rule.work, rule.after_of("keg"), rule.lot, rule.unit_text) == ("titration", 21.0, "any", "d")
    assert (rule.priority, rule.hours) == ("low", "digest")
    assert (rule.consequence, rule.action) == (DUE_WORK["titration"].consequence, DUE_WORK["titration"].action)


def test_what_is_written_holds() -> None:
    own = {"consequence": "It browns.", "action": "Titrate.", "priority": "medium", "id": "test-c1"}
    (rule,) = rules(due(due="titration", after="36 h", at="C1", **own))
    assert (rule.after_of("carboy"), rule.at, rule.lot) == (1.5, "C1", None)
    assert (rule.consequence, rule.action, rule.priority, rule.id) == ("It browns.", "Titrate.", "medium", "test-c1")


def test_the_closest_rule_comes_first_and_the_default_ones_last() -> None:
    anywhere = due(due="racking", after="90 d", lot="any")
    every = due_rules(cellar(BASE, CARBOY, anywhere, due(due="racking", after="200 d", lot="a1")).limit)
    assert [rule.lot for rule in every[:2]] == ["a1", "any"]
    assert [rule.work for rule in every[2:]] == list(DUE_WORK)
    assert all(rule.is_default for rule in every[2:])


def test_a_limit_on_due_work_is_no_limit_on_a_probe() -> None:
    plain, with_due = cellar(BASE), cellar(BASE, due(due="titration", after="21 d", lot="any"))
    assert with_due.limits == plain.limits


@pytest.mark.parametrize(
    ("keys", "key", "why"),
    [
        ({"after": "9 d", "lot": "any"}, "due", "is missing: which work falls due after that time, one of titration, "),
        ({"due": "titration", "lot": "any"}, "after", 'is missing: how long after it was done last it falls due'),
        ({"due": "titration", "after": "9 d"}, "lot", 'is missing: the id of a lot, or lot = "any" for all wine'),
        ({"due": "titration", "after": "9 d", "lot": "a", "at": "C1"}, "at", "give one of lot and at, not both"),
        ({"due": "titration", "after": "9 d", "at": "C9"}, "at", "there is no vessel, cylinder or room with this id"),
        ({"due": "titration", "after": "9 d", "probe": "k1-pressure"}, "probe", "titration is done to wine"),
        ({"due": "titration", "after": "9 d", "lot": "any", "low": "5 kPa"}, "low", "a limit on due work has none"),
        ({"due": "titration", "after": "9 d", "lot": "any", "on_delay": "5 s"}, "on_delay", "due work has none"),
        ({"due": "titration", "after": "1 h", "lot": "any"}, "after", "must be from 0.5 to 1825 d"),
        ({"due": "titration", "after": 9, "lot": "any"}, "after", 'write it as text with its unit, such as "9 d"'),
        ({"due": "titrating", "after": "9 d", "lot": "any"}, "due", 'did you mean "titration"?'),
        ({"due": "titration", "after": "9 d", "lot": "any", "hours": "any"}, "hours", "nobody is woken for due work"),
        ({"due": "titration", "after": "9 d", "lot": "any", "priority": "high"}, "priority", "work is never urgent"),
        ({"due": "airlock", "after": "9 d"}, "at", 'is missing: the id of a vessel; or lot = "any"'),
        ({"due": "calibration", "after": "9 d"}, "probe", "is missing: the id of a probe; or at with a place"),
        ({"due": "calibration", "after": "9 d", "at": "C1"}, "at", "there is no probe at that place"),
        ({"due": "calibration", "after": "9 d", "probe": "k1-ph"}, "probe", "there is no probe with this id"),
        ({"due": "titrant", "after": "9 d", "lot": "any"}, "lot", "titrant is done to a bottle of titrant"),
    ],
)  # fmt: skip
def test_a_mistake_is_named(keys: dict[str, Any], key: str, why: str) -> None:
    (problem,) = problems(BASE, CARBOY, due(**keys))
    assert f" {key} " in problem.replace(":", " ").replace("=", " ")
    assert why in problem


def test_the_same_work_at_the_same_place_twice_is_refused() -> None:
    twice = due(due="airlock", after="9 d", at="C1") + due(due="airlock", after="7 d", at="C1")
    (problem,) = problems(BASE, CARBOY, twice)
    assert "another limit is on the same work there" in problem
