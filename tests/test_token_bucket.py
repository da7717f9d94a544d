"""The token bucket: so many at once, and then one after each interval."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ingest.token_bucket import TokenBucket


def test_so_many_at_once_then_one_after_each_interval() -> None:
    bucket = TokenBucket(2, 10.0, 2)
    bucket.fill(100.0)
    assert [bucket.take() for _ in range(3)] == [True, True, False]
    assert bucket.wait_s == 10.0
    bucket.fill(104.0)
    assert bucket.wait_s == 6.0
    bucket.fill(110.0)
    assert (bucket.wait_s, bucket.take(), bucket.take()) == (0.0, True, False)


def test_what_was_put_in_beyond_what_it_holds_stays_until_it_is_taken() -> None:
    bucket = TokenBucket(2, 1.0, 5)
    bucket.fill(0.0)
    bucket.fill(100.0)
    assert [bucket.take() for _ in range(6)] == [True] * 5 + [False]
    bucket.fill(200.0)
    assert bucket.left == 2.0


@given(st.lists(st.integers(0, 50), max_size=60), st.integers(1, 5), st.integers(1, 20))
def test_never_more_are_taken_than_it_held_and_than_have_come_since(
    pauses_s: list[int], most: int, every_s: int
) -> None:
    bucket = TokenBucket(most, every_s, most)
    now_s = taken = 0
    for pause_s in pauses_s:
        now_s += pause_s
        bucket.fill(now_s)
        assert (bucket.wait_s == 0.0) == (bucket.left >= 1.0)
        taken += bucket.take()
        assert taken <= most + now_s / every_s + 1e-9
        assert 0.0 <= bucket.left <= most
