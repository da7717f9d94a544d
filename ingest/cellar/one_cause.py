"""Limits at one vessel that a single cause can reach: which of them adds nothing while another is active. Pure.

Gas that gets lost reaches the limit on a leak, those on the hours that are left, and in the end those on the pressure;
gas that comes in reaches the limit on that, then those on high pressure. A person wants one alarm about it, the worst.
"""

from __future__ import annotations

__all__ = ["gas_rank", "is_as_loud", "is_of_one_cause", "loudness", "milder_suppressed"]

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from ingest.cellar.limits import EffectiveLimit, Hours, Priority

_PRIORITIES: Final[tuple[Priority, ...]] = ("low", "medium", "high")
_HOURS: Final[tuple[Hours, ...]] = ("digest", "waking", "any")

# A low limit on the gauge up to here says that air can reach the wine; one above it is the owner's own idea.
_AIR_KPA: Final = 5.0
_LOST: Final = ("leak_rate", "hours_to_air_floor", "hours_to_air_floor_by_cold", "compensated_pressure")


def gas_rank(limit: EffectiveLimit) -> tuple[str, int] | None:
    """What a limit is about ("lost" or "gained" gas), and how near the end it is, 0 the nearest; None for any other."""
    if limit.quantity == "pressure" and limit.kind == "low":
        return ("lost", 0) if limit.role == "air" or limit.setpoint <= _AIR_KPA else None
    if limit.quantity == "pressure" and limit.kind == "high":
        return "gained", 0
    if limit.quantity == "gas_gain_rate" and limit.kind == "high":
        return "gained", 1
    if limit.quantity not in _LOST or limit.kind != ("high" if limit.quantity == "leak_rate" else "low"):
        return None
    return "lost", 1 if limit.role == "soon" else 2 + _LOST.index(limit.quantity)


def is_of_one_cause(limit: EffectiveLimit, other: EffectiveLimit) -> bool:
    """Whether both are about the same gas at one vessel."""
    mine, theirs = gas_rank(limit), gas_rank(other)
    return limit.at == other.at and mine is not None and theirs is not None and mine[0] == theirs[0]


def loudness(limit: EffectiveLimit) -> tuple[int, int]:
    """How urgent a limit is, and at which hours it may speak, as numbers to compare: more is louder."""
    return _PRIORITIES.index(limit.priority), _HOURS.index(limit.hours)


def is_as_loud(limit: EffectiveLimit, other: EffectiveLimit) -> bool:
    """Whether a limit says at least as much as another: no lower priority, and no fewer hours."""
    return all(mine >= theirs for mine, theirs in zip(loudness(limit), loudness(other), strict=True))


def milder_suppressed(limits: Sequence[EffectiveLimit]) -> Iterator[EffectiveLimit]:
    """Give the limits, those on gas suppressed by the worse ones at their vessel that say at least as much."""
    by_place: dict[str, list[EffectiveLimit]] = {}
    for limit in limits:
        if gas_rank(limit) is not None:
            by_place.setdefault(limit.at, []).append(limit)
    for limit in limits:
        worse = tuple(other.key for other in by_place.get(limit.at, ()) if _suppresses(other, limit))
        yield replace(limit, suppressed_by=tuple(dict.fromkeys((*limit.suppressed_by, *worse)))) if worse else limit


def _suppresses(worse: EffectiveLimit, limit: EffectiveLimit) -> bool:
    mine, theirs = gas_rank(limit), gas_rank(worse)
    if mine is None or theirs is None or mine[0] != theirs[0]:
        return False
    return theirs[1] < mine[1] and is_as_loud(worse, limit)
