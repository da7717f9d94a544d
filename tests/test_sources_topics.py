"""What is a topic filter, which topics are wanted, and which are given up."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from ingest.sources.topics import MOST_GIVEN_UP, Subscriptions, filter_problem


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
    assert Subscriptions(filters).wants(topic) is wanted


def test_each_topic_is_given_up_once() -> None:
    topics = Subscriptions(["a"])
    assert [topics.give_up(topic) for topic in ("b", "b", "c", "", "x/#", "+")] == [True, False, True] + [False] * 3


def test_a_flood_of_topics_costs_no_memory() -> None:
    topics = Subscriptions([])
    assert sum(topics.give_up(str(number)) for number in range(MOST_GIVEN_UP + 50)) == MOST_GIVEN_UP


_FILTERS = st.text("ab/+#$", min_size=1, max_size=6).filter(lambda text: not filter_problem(text))


@given(st.lists(_FILTERS, max_size=4), st.text("ab/$", min_size=1, max_size=6))
def test_a_topic_is_wanted_if_a_filter_matches_it(filters: list[str], topic: str) -> None:
    assert Subscriptions(filters).wants(topic) == any(_matches(text, topic) for text in filters)


def _matches(text: str, topic: str) -> bool:
    """MQTT 5.0, section 4.7, as a regular expression."""
    if topic.startswith("$") and text[0] in "+#":
        return False
    levels = ["[^/]*" if level == "+" else re.escape(level) for level in text.removesuffix("#").split("/")]
    pattern = "/".join(levels)
    if text == "#":
        pattern = ".*"
    elif text.endswith("/#"):
        pattern = f"{pattern.removesuffix('/')}(/.*)?"
    return re.fullmatch(pattern, topic) is not None


@pytest.mark.parametrize("text", ["#", "+", "a/#", "a/+/b", "/", "a b", "/+/#"])
def test_filters_that_are(text: str) -> None:
    assert filter_problem(text) == ""


@pytest.mark.parametrize("text", ["", "a/#/b", "a#", "#/a", "a+", "a/b+/c", "a\0b", "a" * 65536])
def test_filters_that_are_not(text: str) -> None:
    assert filter_problem(text) != ""


@given(st.text("a/+#", max_size=8))
def test_what_passes_as_a_filter_the_client_library_takes_too(text: str) -> None:
    client = Client(CallbackAPIVersion.VERSION2)
    try:
        client.subscribe(text)
    except ValueError:
        assert filter_problem(text)
    else:
        assert not filter_problem(text)
