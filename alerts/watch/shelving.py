"""Shelving and taking out of service: what is known of it, and what of it is allowed.

A shelving ends on the monotonic clock, so that setting the wall clock neither ends it early nor keeps it. The end in
UTC is for people, and for a restart in another boot: there the shelving goes on for what was left by the wall clock,
never for longer than its whole span. A wall clock that is behind what was stored last counts as that time.
"""

from __future__ import annotations

__all__ = [
    "LONGEST_OVERPRESSURE_S",
    "LONGEST_S",
    "OutOfService",
    "Shelving",
    "is_overpressure",
    "longest_s",
    "out_of_service_problem",
    "shelving_problem",
]

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final, Self

from ingest.cellar import EffectiveLimit

Limits = Mapping[str, EffectiveLimit]

# The longest shelving; whoever needs more takes the limit out of service, which is reviewed. This project's choice.
LONGEST_S: Final = 7 * 86400.0
# A vessel that may burst must not be forgotten. This project's choice.
LONGEST_OVERPRESSURE_S: Final = 3600.0

# By how much the end in UTC may be off before it follows the monotonic clock.
_DRIFT_MS: Final = 60_000


@dataclass(frozen=True, slots=True)
class OutOfService:
    """Who took an alarm out of service, when (UTC milliseconds), and why."""

    by: str
    at_ms: int
    why: str


@dataclass(frozen=True, slots=True)
class Shelving:
    """Who shelved an alarm, when (UTC milliseconds), why, and until when.

    span_s: the whole time asked for; until_ms: its end, UTC milliseconds; end_mono: its end, monotonic seconds; None
    while it is read back in another boot and not anchored yet.
    """

    by: str
    at_ms: int
    why: str
    span_s: float
    until_ms: int
    end_mono: float | None = None

    def anchored(self, clock_ms: int, mono: float) -> Self:
        """The same with its end on the monotonic clock. clock_ms: UTC ms now, by what is known of it."""
        if self.end_mono is not None:
            return self
        left_s = min(max((self.until_ms - clock_ms) / 1000, 0.0), self.span_s)
        return replace(self, end_mono=mono + left_s)

    def is_over(self, mono: float) -> bool:
        """Whether its time has ended; mono: monotonic seconds now."""
        return self.end_mono is not None and mono >= self.end_mono

    def shown_by(self, clock_ms: int, mono: float) -> Self:
        """The same with its end in UTC put right after the wall clock was set. clock_ms: UTC ms now."""
        if self.end_mono is None:
            return self
        until_ms = clock_ms + round((self.end_mono - mono) * 1000)
        return self if abs(until_ms - self.until_ms) <= _DRIFT_MS else replace(self, until_ms=until_ms)

    def as_stored(self) -> dict[str, Any]:
        """What of it means something in any boot."""
        return {name: getattr(self, name) for name in ("by", "at_ms", "why", "span_s", "until_ms")}


def is_overpressure(limit: EffectiveLimit, limits: Limits) -> bool:
    """Whether a limit guards against a vessel that bursts: one on high pressure, unless *over* stands above it.

    limits: all that are watched, by key.
    """
    if limit.quantity != "pressure" or limit.kind != "high":
        return False
    if limit.priority == "high" or limit.role == "over":
        return True
    return not any(other.role == "over" and other.probe == limit.probe for other in limits.values())


def longest_s(limit: EffectiveLimit, limits: Limits) -> float:
    """For how long a limit may be shelved at a time, in seconds."""
    return LONGEST_OVERPRESSURE_S if is_overpressure(limit, limits) else LONGEST_S


def shelving_problem(limit: EffectiveLimit, limits: Limits, span_s: float, why: str) -> str:
    """What is wrong with a shelving for so long (seconds) and for this reason; "" if nothing is."""
    if not why.strip():
        return "muting needs a reason; say why"
    if not span_s > 0:
        return "its end has passed already; give a time from now on"
    longest = longest_s(limit, limits)
    if span_s <= longest:
        return ""
    if longest < LONGEST_S:
        return f"overpressure can be muted for at most {longest / 3600:g} h at a time, not {_span(span_s)}"
    return (
        f"a limit can be muted for at most {longest / 86400:g} days at a time, not {_span(span_s)}; "
        "what is to stay silent for longer can be taken out of service"
    )


def out_of_service_problem(limit: EffectiveLimit, limits: Limits, why: str) -> str:
    """What is wrong with taking a limit out of service for this reason; "" if nothing is."""
    if is_overpressure(limit, limits):
        return "overpressure cannot be taken out of service; it can be muted for at most 1 h at a time"
    return "" if why.strip() else "taking a limit out of service needs a reason; say why"


def _span(span_s: float) -> str:
    for size_s, unit in ((86400, "days"), (3600, "h"), (60, "min")):
        if span_s >= 2 * size_s:
            return f"{span_s / size_s:.4g} {unit}"
    return f"{span_s:.4g} s"
