"""At which hours of the day an urgent alarm would reach nobody, or nobody at once, while the owner is away. Pure."""

from __future__ import annotations

__all__ = ["Unreached", "clock", "unreached"]

from collections.abc import Iterable, Mapping
from datetime import time
from typing import Final, NamedTuple

from alerts.absence.safe_steps import safe_step
from alerts.message.hours import hours_for, hours_of
from alerts.message.routes import first_route
from alerts.watch.own_limits import channel_key
from ingest.cellar import Cellar, EffectiveLimit, Recipient
from ingest.store.alarms.absences import Absence

_DAY_MIN: Final = 24 * 60
_DAY: Final = frozenset(range(_DAY_MIN))


class Unreached(NamedTuple):
    """Hours in which alarms of some limits reach nobody at once.

    keys: of the limits; from_min, until_min: minutes of the local day, over midnight if until lies before from, the
    whole day if both are the same; passed_on: somebody awake gets it when the helper has not acknowledged it.
    """

    keys: tuple[str, ...]
    from_min: int
    until_min: int
    passed_on: bool


def unreached(
    cellar: Cellar, limits: Iterable[EffectiveLimit], place_kinds: Mapping[str, str], absence: Absence
) -> list[Unreached]:
    """List the hours for the limits of high priority, first where an alarm would reach nobody at all.

    A limit that wakes nobody by the cellar file counts only in the hours in which it reaches somebody usually.
    """
    keys: dict[tuple[frozenset[int], frozenset[int]], list[str]] = {}
    for limit in limits:
        if limit.priority != "high":
            continue
        step = safe_step(limit, place_kinds)
        expected = _DAY if hours_of(limit) == "any" else _reached(cellar, limit, None, step)
        missing = expected - _reached(cellar, limit, absence, step)
        later = _later(cellar, limit, absence)
        keys.setdefault((missing - later, missing & later), []).append(limit.key)
    found = [
        Unreached(tuple(sorted(group)), begin, end, passed_on)
        for (never, late), group in keys.items()
        for passed_on, minutes in ((False, never), (True, late))
        for begin, end in _spans(minutes)
    ]
    return sorted(found, key=lambda each: (each.passed_on, each.from_min, each.keys))


def clock(minute: int) -> str:
    """Write a minute of the day as a clock shows it."""
    return f"{minute // 60 % 24:02}:{minute % 60:02}"


def _reached(cellar: Cellar, limit: EffectiveLimit, absence: Absence | None, step: str) -> frozenset[int]:
    """The minutes in which a message about it goes to somebody at once."""
    minutes: frozenset[int] = frozenset()
    for recipient in cellar.recipients:
        route = first_route(limit, recipient, absence, step, got_it=False)
        if route.hears and route.held_until_ms is None:
            minutes |= _awake(limit, recipient)
    return minutes


def _later(cellar: Cellar, limit: EffectiveLimit, absence: Absence) -> frozenset[int]:
    """The minutes in which an alarm that is passed on goes to somebody."""
    minutes: frozenset[int] = frozenset()
    for recipient in cellar.recipients:
        is_other = recipient.person != absence.helper and limit.key != channel_key(recipient.channel)
        if is_other and "high" in recipient.priorities:
            minutes |= _awake(limit, recipient)
    return minutes


def _awake(limit: EffectiveLimit, recipient: Recipient) -> frozenset[int]:
    begin, end = (_minute(at) for at in recipient.waking)
    if hours_for(recipient, hours_of(limit), "high") == "any" or begin == end:
        return _DAY
    return frozenset(range(begin, end)) if begin < end else _DAY - frozenset(range(end, begin))


def _minute(at: time) -> int:
    return at.hour * 60 + at.minute


def _spans(minutes: frozenset[int]) -> list[tuple[int, int]]:
    """The minutes as spans, each from its first to the one after its last."""
    if minutes == _DAY:
        return [(0, 0)]
    begins = sorted(minute for minute in minutes if (minute - 1) % _DAY_MIN not in minutes)
    ends = sorted((minute + 1) % _DAY_MIN for minute in minutes if (minute + 1) % _DAY_MIN not in minutes)
    return [(begin, next((end for end in ends if end > begin), ends[0])) for begin in begins]
