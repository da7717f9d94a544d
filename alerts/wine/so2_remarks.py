"""What the estimate of SO2 has to say in words: a titration that does not fit, and what is not known."""

from __future__ import annotations

__all__ = ["Expected", "remarks_on"]

from collections.abc import Sequence
from math import hypot
from typing import Final, NamedTuple

from alerts.wine.so2_history import FreeTitrated, So2Added, So2History, WineRacked
from alerts.wine.so2_steps import MS_PER_DAY, default_u_mg_l

# A titration is reported when it is this many standard deviations from what was expected, or is more likely a blunder
# than not.
_SURPRISING: Final = 3.0
_LIKELY: Final = 0.5
# Two results of one wine differ by more than this many standard uncertainties of their difference 1 time in 20.
_REPEATABLE: Final = 1.96
# The first part of an addition's life, in which it still binds [ms].
_DAY_MS: Final = int(MS_PER_DAY)


class Expected(NamedTuple):
    """What a titration was expected to find, and the standard deviation of that [mg/L]."""

    mean_mg_l: float
    sd_mg_l: float


def remarks_on(
    history: So2History, at_ms: int, expectations: Sequence[Expected], blunder_chances: tuple[float, float]
) -> tuple[str, ...]:
    """Put together what a person should know beside the numbers.

    history: what had happened by at_ms; expectations: of each titration, by time; blunder_chances: the probability that
    the last titration but one, and the last, is a blunder.
    """
    titrations = history.titrations
    remarks = _unknown(history)
    if len(titrations) >= 2:
        last = _misfit(titrations[-1], expectations[-1], blunder_chances[1])
        if last is not None:
            remarks.append(f"{last}: repeat it, and check the titrant's factor, before you dose")
        if len(titrations) >= 3 and blunder_chances[0] > _LIKELY:
            value = titrations[-2].free_mg_l
            remarks.append(
                f"the titration before, {value:.0f} mg/L, does not fit with the others: it counts for little"
            )
    remarks += _disagreeing(history)
    remarks += _fresh_addition(history, at_ms)
    return tuple(remarks)


def _u_of(titration: FreeTitrated) -> float:
    return default_u_mg_l(titration.free_mg_l) if titration.u_mg_l is None else titration.u_mg_l


def _misfit(titration: FreeTitrated, expected: Expected, blunder_chance: float) -> str | None:
    off = titration.free_mg_l - expected.mean_mg_l
    deviations = abs(off) / hypot(expected.sd_mg_l, _u_of(titration))
    if deviations < _SURPRISING and blunder_chance <= _LIKELY:
        return None
    side = "above" if off > 0.0 else "below"
    return (
        f"{titration.free_mg_l:.0f} mg/L is {deviations:.1f} standard deviations {side} what was expected, "
        f"{expected.mean_mg_l:.0f} mg/L"
    )


def _unknown(history: So2History) -> list[str]:
    if not history.titrations:
        return [
            "nothing was titrated: free SO2 is a guess from what wines usually have, and loss and yield are what is "
            "usual; titrate before you dose"
        ]
    remarks = []
    if len(history.titrations) == 1:
        remarks.append(
            "one titration: it cannot be checked against another, and how fast this wine loses free SO2 is what is "
            "usual for such a vessel, not measured"
        )
    if any(isinstance(entry, So2Added) for entry in history.entries) and not _yield_was_measured(history):
        remarks.append(
            "no addition has a titration both before and after it: the part that stays free is what is usual"
        )
    return remarks


def _yield_was_measured(history: So2History) -> bool:
    times = [titration.at_ms for titration in history.titrations]
    return any(
        any(at_ms <= entry.at_ms for at_ms in times) and any(at_ms > entry.at_ms for at_ms in times)
        for entry in history.entries
        if isinstance(entry, So2Added)
    )


def _disagreeing(history: So2History) -> list[str]:
    """Report that the last two titrations, of one day and with nothing done between them, differ too much."""
    last = [place for place, entry in enumerate(history.entries) if isinstance(entry, FreeTitrated)][-1:]
    if not last or last[0] == 0:
        return []
    first, second = history.entries[last[0] - 1], history.entries[last[0]]
    if not (isinstance(first, FreeTitrated) and isinstance(second, FreeTitrated)):
        return []
    allowed = _REPEATABLE * hypot(_u_of(first), _u_of(second))
    difference = abs(first.free_mg_l - second.free_mg_l)
    if second.at_ms - first.at_ms >= _DAY_MS or difference <= allowed:
        return []
    return [
        f"two titrations of one day, {first.free_mg_l:.0f} and {second.free_mg_l:.0f} mg/L, differ by "
        f"{difference:.0f} mg/L, and two of one wine seldom differ by more than {allowed:.0f}: titrate again"
    ]


def _fresh_addition(history: So2History, at_ms: int) -> list[str]:
    if any(isinstance(entry, So2Added) and at_ms - entry.at_ms < _DAY_MS for entry in history.entries):
        return ["the last addition is younger than a day and still binding: titrate tomorrow"]
    last_titration = max((titration.at_ms for titration in history.titrations), default=None)
    if last_titration is not None and any(
        isinstance(entry, WineRacked) and entry.at_ms > last_titration for entry in history.entries
    ):
        return ["racked since the last titration: how much SO2 that cost is a guess from the oxygen a racking takes up"]
    return []
