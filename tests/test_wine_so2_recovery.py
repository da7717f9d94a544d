"""The estimate finds the truth of made-up winters: a quick version of tests/benchmarks/so2_recovery.py.

With so few winters chance moves a coverage by some 0.04, so the margins are wide; the benchmark has the numbers.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from so2_scores import by_estimate, scores
from so2_winters import HARD, PLAIN, World, by_brute_force, made_up

WINTERS = 60
# Not all that is asked of a winter: answers on the same wine are much alike.
EVERY = 6


@pytest.mark.parametrize(("world", "crossing_error"), [(PLAIN, 0.35), (HARD, 0.6)], ids=["plain", "hard"])
def test_intervals_cover_and_titrations_come_in_time(world: World, crossing_error: float) -> None:
    winters = []
    for seed in range(WINTERS):
        winter = made_up(world, 5000 + seed)
        winters.append(replace(winter, asked=winter.asked[seed % EVERY :: EVERY]))
    found = scores(pair for pairs in by_estimate(winters) for pair in pairs)
    assert 0.68 <= found["all"].covered <= 0.92
    assert 0.65 <= found["all"].crossing_covered <= 0.95
    assert found["all"].in_time >= 0.9
    assert found["third after an addition"].crossing_error <= crossing_error


def test_the_estimate_is_near_what_many_simulated_wines_say() -> None:
    winter = made_up(PLAIN, 5001)
    exact = by_brute_force(winter, 30_000, 1)
    ours = by_estimate([winter])[0]
    close = [abs(mine.free[1] - best.answer.free[1]) for (_, mine), best in zip(ours, exact, strict=True)]
    assert [asking for asking, _ in ours] == [best.asked for best in exact]
    assert sorted(close)[len(close) // 2] < 0.6
    assert max(close) < 2.5
