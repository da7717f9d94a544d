"""When a message may go out: at once, or in the hours in which people are awake."""

from __future__ import annotations

__all__ = ["earliest", "first_moment", "hours_for", "hours_of", "local_moment"]

from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final

from ingest.cellar import EffectiveLimit, Priority, Recipient
from ingest.times import clock_change

# Work that is due and sulfur dioxide can wait for the morning, whatever the cellar file says.
_NEVER_WAKE: Final = ("molecular_so2", "free_so2", "total_so2")

_DAY = timedelta(days=1)


def hours_of(limit: EffectiveLimit | None) -> str:
    """When messages about a limit may go out: ``any``, ``waking`` or ``digest``. limit: None if it is gone."""
    if limit is None:
        return "any"
    if limit.hours == "any" and (limit.kind == "due" or limit.quantity in _NEVER_WAKE):
        return "waking"
    return limit.hours


def hours_for(recipient: Recipient, hours: str, priority: Priority) -> str:
    """When messages of these ``hours`` and this priority may go out to a recipient: what does not wake them waits."""
    return "waking" if hours == "any" and priority not in recipient.woken_by else hours


def first_moment(recipient: Recipient, now_ms: int, tz: tzinfo, priority: Priority = "medium") -> int:
    """The first moment from now on (UTC ms) at which a message that belongs to no limit may go to a recipient."""
    return earliest(now_ms, hours_for(recipient, "any", priority), recipient.waking, tz)


def earliest(now_utc_ms: int, hours: str, waking: tuple[time, time], tz: tzinfo) -> int:
    """The first moment from ``now_utc_ms`` on (UTC milliseconds) at which a message may go out.

    hours: ``any``, ``waking``, or ``digest`` for the next beginning of waking hours; waking: from and to in local time
    of ``tz``, over midnight if to lies before from, the whole day if both are the same. On the nights of a clock
    change, waking hours are as long as they can be: a time that occurs twice begins them the first time and ends them
    the second; a time that is skipped is the moment of the change.
    """
    if hours == "any":
        return now_utc_ms
    begin, end = waking
    if hours == "digest":
        return _next_beginning(now_utc_ms, begin, tz)
    if begin == end:
        return now_utc_ms
    now = datetime.fromtimestamp(now_utc_ms // 1000, UTC)
    day = now.astimezone(tz).date() - _DAY
    for _ in range(4):
        begins = local_moment(day, begin, tz, fold=0)
        ends = local_moment(day if begin < end else day + _DAY, end, tz, fold=1)
        if now < ends:
            return max(now_utc_ms, round(begins.timestamp() * 1000))
        day += _DAY
    return now_utc_ms  # no time zone has four days without a waking hour; late words are worse than a short night


def _next_beginning(now_utc_ms: int, begin: time, tz: tzinfo) -> int:
    day = datetime.fromtimestamp(now_utc_ms // 1000, UTC).astimezone(tz).date()
    moments = (
        round(local_moment(day + number * _DAY, begin, tz, fold=0).timestamp() * 1000) for number in range(-1, 3)
    )
    return next(moment for moment in moments if moment > now_utc_ms)


def local_moment(day: date, at: time, tz: tzinfo, *, fold: int) -> datetime:
    """The UTC moment of a local time; of a skipped one, the moment at which the clocks changed."""
    local = datetime.combine(day, at.replace(fold=fold), tzinfo=tz)
    moment = local.astimezone(UTC)
    back = moment.astimezone(tz).replace(tzinfo=None)
    if back == local.replace(tzinfo=None, fold=0):
        return moment
    before, after = sorted(local.replace(fold=each).astimezone(UTC) for each in (0, 1))
    return clock_change(tz, before, after)
