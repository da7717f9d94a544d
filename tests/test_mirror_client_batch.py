"""A batch against servers that refuse lines, sizes, or everything."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import given
from hypothesis import strategies as st

from ingest.mirror.client import MOST_BAD, deliver
from ingest.mirror.reply import NETWORK, Reply


class Server:
    """Takes at most ``most`` lines at once and none of ``bad``; after ``replies`` further requests it is away."""

    def __init__(self, bad: frozenset[str] = frozenset(), most: int = 10**9, replies: int = 10**9) -> None:
        self.bad = bad
        self.most = most
        self.replies = replies
        self.taken: list[str] = []
        self.sizes: list[int] = []

    def post(self, lines: Sequence[str]) -> Reply:
        self.replies -= 1
        self.sizes.append(len(lines))
        if self.replies < 0:
            return Reply(NETWORK, "refused")
        if len(lines) > self.most:
            return Reply(413, "too large")
        if self.bad & set(lines):
            return Reply(400, "bad line")
        self.taken += lines
        return Reply(204)


LINES = [f"line {number}" for number in range(1000)]


def test_a_good_batch_is_one_request() -> None:
    server = Server()
    delivery = deliver(LINES, server.post)
    assert (server.sizes, delivery.taken, delivery.stopped, delivery.refused) == ([1000], 1000, None, [])


def test_nothing_is_no_request() -> None:
    server = Server()
    assert deliver([], server.post).stopped is None
    assert server.sizes == []


def test_one_bad_line_is_found_in_few_requests_and_the_rest_is_taken_in_order() -> None:
    server = Server(frozenset({"line 617"}))
    delivery = deliver(LINES, server.post, trusted=False)
    assert [(row.line, row.status, row.said) for row in delivery.refused] == [("line 617", 400, "bad line")]
    assert server.taken == [line for line in LINES if line != "line 617"]
    assert delivery.stopped is None
    assert len(server.sizes) <= 2 * 10 + 1


@given(st.sets(st.integers(0, 40), max_size=6), st.integers(1, 50), st.integers(0, 60))
def test_whatever_the_server_does_each_line_is_taken_or_refused_or_the_batch_is_not_done(
    bad: set[int], most: int, replies: int
) -> None:
    lines = LINES[:41]
    server = Server(frozenset(LINES[number] for number in bad), most, replies)
    delivery = deliver(lines, server.post)
    refused = {row.line for row in delivery.refused}
    assert refused <= server.bad
    assert delivery.taken == len(server.taken)
    if delivery.stopped is None:
        assert sorted(server.taken) == sorted(set(lines) - server.bad)
        assert refused == server.bad
    else:
        assert delivery.stopped.status == NETWORK


def test_a_size_that_was_too_large_is_remembered() -> None:
    delivery = deliver(LINES, Server(most=130).post)
    assert (delivery.largest, delivery.taken) == (125, 1000)


def test_a_single_line_that_is_too_large_is_refused() -> None:
    delivery = deliver(["x"], Server(most=0).post)
    assert [row.status for row in delivery.refused] == [413]


def test_what_was_partly_taken_is_noted_and_done() -> None:
    delivery = deliver(LINES[:3], lambda lines: Reply(422, "type conflict"))
    assert delivery.stopped is None
    assert [(row.line, row.status, row.said) for row in delivery.refused] == [("line 0", 422, "type conflict")]


def test_a_server_that_never_took_anything_is_not_believed_that_a_line_is_bad() -> None:
    everything = Server(frozenset(LINES))
    assert deliver(LINES[:1], everything.post, trusted=False).stopped == Reply(400, "bad line")
    assert deliver(LINES[:9], everything.post, trusted=False).stopped == Reply(400, "bad line")
    assert deliver(LINES[:1], everything.post, trusted=True).stopped is None


def test_a_batch_that_is_bad_from_end_to_end_is_not_given_up() -> None:
    delivery = deliver(LINES, Server(frozenset(LINES)).post)
    assert delivery.stopped == Reply(400, "bad line")
    assert len(delivery.refused) == MOST_BAD + 1
