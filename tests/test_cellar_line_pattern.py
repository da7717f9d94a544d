"""A line's pattern: what it takes, and that no pattern and no line can hold anything up."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.cellar import LinePattern


def test_the_whole_line_is_matched_and_its_groups_are_named() -> None:
    pattern = LinePattern("K1 T=(?P<value>[-+0-9.]+)(?: S=(?P<supply>[0-9.]+))?")
    assert pattern.groups == {"value", "supply"}
    assert pattern.match("K1 T=12.5 S=4.98") == {"value": "12.5", "supply": "4.98"}
    assert pattern.match("K1 T=12.5") == {"value": "12.5", "supply": None}
    assert pattern.match("noise K1 T=12.5") is None
    assert pattern.match("K1 T=12.5 ") is None


@pytest.mark.parametrize("text", ["(?P<value>[0-9]+) °C", "Wärme (?P<value>\\d+)", "(?i)k1 (?P<value>[0-9]+)"])
def test_what_instruments_write_can_be_written_as_a_pattern(text: str) -> None:
    assert "value" in LinePattern(text).groups


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("(?P<value>[0-9]+)(?=K)", "look ahead or back"),
        ("(?<!x)(?P<value>[0-9]+)", "look ahead or back"),
        ("(a)(?P<value>[0-9]+)\\1", "repeat an earlier one"),
        ("(?P<value>[0-9]+", "is not a regular expression: missing \\)"),
        ("(?P<value>[0-9+)", "is not a regular expression: missing"),
        ("(?P<value>((x{1000}){1000}){1000})", "is not a regular expression"),
        ("x" * 1001, "at most 1000"),
        ("\udc80(?P<value>1)", "is not a regular expression"),
    ],
)
def test_what_is_not_taken_says_why(text: str, problem: str) -> None:
    with pytest.raises(ValueError, match=problem):
        LinePattern(text)


# Each takes time that doubles with every character where an engine tries one way after another.
EXPONENTIAL = [
    "(?P<value>([0-9]+)+)x",
    "(?P<value>([0-9]|[0-9][0-9]?)*)x",
    "(?P<value>([0-9]*)*)x",
    "(?P<value>(a|aa)+[0-9]*)$x",
]


@pytest.mark.parametrize("text", EXPONENTIAL)
def test_a_pattern_that_would_try_without_end_answers_at_once(text: str) -> None:
    """With an engine that tries one way after another, 60 characters would take longer than this cellar stands."""
    pattern = LinePattern(text)
    for line in ("1" * 60, "a" * 60, "1" * 60_000):
        assert pattern.match(line) is None


@given(st.text(max_size=200))
def test_any_line_has_an_answer(line: str) -> None:
    assert LinePattern("K1 T=(?P<value>[-+0-9.]+)").match(line) is None or line.startswith("K1 T=")
