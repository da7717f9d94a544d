"""From when to when a history is asked for, as a person or an address writes it."""

from __future__ import annotations

__all__ = ["SPANS_MS", "USUAL_SPAN", "HistorySpan", "history_span"]

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from alerts.errors import HistoryRefused
from ingest.errors import IngestError
from ingest.times import EARLIEST_MS, bound_of

_HOUR_MS: Final = 3_600_000
_DAY_MS: Final = 24 * _HOUR_MS

SPANS_MS: Final[dict[str, int]] = {
    "hour": _HOUR_MS,
    "day": _DAY_MS,
    "week": 7 * _DAY_MS,
    "month": 30 * _DAY_MS,
    "season": 91 * _DAY_MS,
    "year": 365 * _DAY_MS,
}
"""The spans that have a name, up to now; "all" is from the first that is known."""
USUAL_SPAN: Final = "month"

_SHORTEST_MS: Final = 60_000
_LONGEST_MS: Final = 60 * 366 * _DAY_MS
# Nothing is known of what comes, but a day that goes on is asked for whole.
_FURTHEST_AHEAD_MS: Final = 366 * _DAY_MS
_BOUND_ALLOWED: Final = "a date such as 2026-11-25, a date and time, today, yesterday, or UTC as 2026-11-25T08:30:00Z"


@dataclass(frozen=True, slots=True)
class HistorySpan:
    """from_ms <= at < to_ms [UTC ms]; name: of ``SPANS_MS``, "all", or "" where both ends were given."""

    from_ms: int
    to_ms: int
    name: str = ""


def history_span(
    span: str, since: str, until: str, zone: ZoneInfo, now_ms: int, first_ms: Callable[[], int | None]
) -> HistorySpan:
    """Read what was asked for; "" stands for what was not. first_ms: finds when the first reading or entry was.

    Without an end it goes up to now; without a begin it has the length that ``span`` names. Raises HistoryRefused.
    """
    if span and span != "all" and span not in SPANS_MS:
        raise HistoryRefused(f"there is no span '{span[:60]}'; allowed: {', '.join(SPANS_MS)}, all")
    if span and since:
        raise HistoryRefused("a span goes with its end alone: leave out span, or from")
    to_ms = _bound("to", until, zone, now_ms) if until else now_ms
    if since:
        from_ms = _bound("from", since, zone, now_ms)
    elif span == "all":
        from_ms = first_ms() or to_ms - SPANS_MS[USUAL_SPAN]
        from_ms = min(from_ms, to_ms - _HOUR_MS)
    else:
        from_ms = to_ms - SPANS_MS[span or USUAL_SPAN]
    name = "" if since or until else span or USUAL_SPAN
    _check(from_ms, to_ms, now_ms)
    return HistorySpan(from_ms, to_ms, name)


def _bound(name: str, text: str, zone: ZoneInfo, now_ms: int) -> int:
    try:
        return bound_of(text[:60], zone, now_ms)
    except IngestError as error:
        raise HistoryRefused(f"'{name}': {error}") from error
    except (OverflowError, OSError) as error:
        raise HistoryRefused(f"'{name}' is '{text[:60]}', which is no time here; allowed: {_BOUND_ALLOWED}") from error


def _check(from_ms: int, to_ms: int, now_ms: int) -> None:
    if from_ms >= to_ms:
        raise HistoryRefused("'from' must be before 'to'")
    if to_ms - from_ms < _SHORTEST_MS:
        raise HistoryRefused("the shortest span is one minute: move 'from' and 'to' apart")
    if (from_ms < EARLIEST_MS and to_ms <= EARLIEST_MS) or from_ms > now_ms:
        raise HistoryRefused("the span must begin before now, and end after the year 2000")
    if to_ms - from_ms > _LONGEST_MS or to_ms > now_ms + _FURTHEST_AHEAD_MS:
        raise HistoryRefused("the longest span is 60 years, and it may end a year ahead at most")
