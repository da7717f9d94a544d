"""Waits between tries."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.message.retry import gives_up, wait_ms

DAY_MS = 86_400_000


@pytest.mark.parametrize(("failures", "seconds"), [(1, 5), (2, 15), (3, 60), (4, 300), (5, 900), (6, 900), (1000, 900)])
def test_the_waits_grow_to_a_quarter_of_an_hour(failures: int, seconds: int) -> None:
    assert wait_ms(failures, 0.5) == seconds * 1000
    assert wait_ms(failures, 0.0) == seconds * 800


@given(st.integers(1, 50), st.floats(0, 1, exclude_max=True))
def test_chance_spreads_a_wait_by_a_fifth_at_most(failures: int, chance: float) -> None:
    middle = wait_ms(failures, 0.5)
    assert 0.8 * middle <= wait_ms(failures, chance) <= 1.2 * middle


def test_calls_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one failure, not 0"):
        wait_ms(0, 0.5)
    with pytest.raises(ValueError, match=r"below 1, not 1\.0"):
        wait_ms(1, 1.0)


def test_giving_up_is_a_day_after_the_occurrence_closed() -> None:
    assert not gives_up(10**15, None)
    assert not gives_up(DAY_MS + 6, 7)
    assert gives_up(DAY_MS + 7, 7)
