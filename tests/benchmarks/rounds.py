"""What the benchmarks share in measuring: alternating rounds, their spread, and how a table of them is printed."""

from __future__ import annotations

__all__ = ["alternate", "percentile", "print_ratio", "print_spread"]

import statistics
from collections.abc import Callable, Sequence


def alternate(rounds: int, ours: Callable[[], float], floor: Callable[[], float]) -> tuple[list[float], list[float]]:
    """Both measured in turns, so that whatever else the machine does falls on both; each call gives a rate."""
    our_rates, floor_rates = [], []
    for _ in range(rounds):
        floor_rates.append(floor())
        our_rates.append(ours())
    return our_rates, floor_rates


def percentile(values: Sequence[float], share: float) -> float:
    """The smallest of the values that at least this share (0 to 1) of them does not exceed."""
    ordered = sorted(values)
    return ordered[max(0, -int(-share * len(ordered) // 1) - 1)]


def print_spread(name: str, values: Sequence[float], unit: str) -> None:
    """One line: smallest, median, largest."""
    print(f"{name:<34} {min(values):>12,.1f} {statistics.median(values):>12,.1f} {max(values):>12,.1f}  {unit}")


def print_ratio(name: str, ours: Sequence[float], floor: Sequence[float], goal: float) -> None:
    """Both spreads and the median of the ratios of the rounds, beside the goal."""
    ratios = [mine / bare for mine, bare in zip(ours, floor, strict=True)]
    print(f"{name:<34} {'min':>12} {'median':>12} {'max':>12}")
    print_spread("  ours", ours, "a second")
    print_spread("  floor", floor, "a second")
    print(
        f"{'  ratio':<34} {min(ratios):>12.3f} {statistics.median(ratios):>12.3f} {max(ratios):>12.3f}  goal {goal:g}",
        flush=True,
    )
