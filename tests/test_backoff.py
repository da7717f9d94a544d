"""The waits between attempts: growing, jittered, bounded, without end."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.backoff import Backoff


def test_waits_double_up_to_the_longest() -> None:
    backoff = Backoff(1.0, 60.0, draw=lambda: 0.5)
    assert [backoff.next_wait_s() for _ in range(9)] == [1, 2, 4, 8, 16, 32, 60, 60, 60]


def test_after_a_reset_the_shortest_wait_comes_again() -> None:
    backoff = Backoff(1.0, 60.0, draw=lambda: 0.5)
    for _ in range(5):
        backoff.next_wait_s()
    backoff.reset()
    assert backoff.next_wait_s() == 1.0


@given(st.floats(0, 1, exclude_max=True), st.integers(0, 200))
def test_the_jitter_stays_within_a_quarter_and_below_the_longest(draw: float, before: int) -> None:
    backoff = Backoff(1.0, 60.0, draw=lambda: draw)
    for _ in range(before):
        backoff.next_wait_s()
    nominal_s = min(2.0**before, 60.0)
    wait_s = backoff.next_wait_s()
    assert 0.75 * nominal_s <= wait_s <= min(1.25 * nominal_s, 60.0)


@pytest.mark.parametrize(("first_s", "longest_s"), [(0.0, 1.0), (-1.0, 1.0), (2.0, 1.0)])
def test_impossible_waits_are_refused(first_s: float, longest_s: float) -> None:
    with pytest.raises(ValueError, match="0 < first <= longest"):
        Backoff(first_s, longest_s)
