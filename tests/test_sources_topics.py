"""Which topics are wanted, and which are given up."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.sources.topics import MOST_GIVEN_UP, WantedTopics


@pytest.mark.parametrize(
    ("filters", "topic", "wanted"),
    [
        (["a/b"], "a/b", True),
        (["a/b"], "a/B", False),
        (["a/b"], "a/b/c", False),
        (["a/+"], "a/b", True),
        (["a/#"], "a", True),
        (["#"], "$SYS/uptime", False),
        ([], "a", False),
        (["x", "a/+/c"], "a/b/c", True),
    ],
)
def test_wanted(filters: list[str], topic: str, wanted: bool) -> None:
    assert WantedTopics(filters).wants(topic) is wanted


def test_each_topic_is_given_up_once() -> None:
    topics = WantedTopics(["a"])
    assert [topics.give_up(topic) for topic in ("b", "b", "c", "", "x/#", "+")] == [True, False, True] + [False] * 3


def test_a_flood_of_topics_costs_no_memory() -> None:
    topics = WantedTopics([])
    assert sum(topics.give_up(str(number)) for number in range(MOST_GIVEN_UP + 50)) == MOST_GIVEN_UP


@given(st.lists(st.text("ab/+#$", max_size=6), max_size=4), st.text("ab/$", max_size=6))
def test_any_topic_is_wanted_or_not(filters: list[str], topic: str) -> None:
    topics = WantedTopics(filters)
    assert topics.wants(topic) in (True, False)
    assert topics.wants(topic) or topic not in filters
