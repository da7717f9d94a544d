"""How the alarms of a time behaved: how many, how long they stood, which chattered, how soon they were acknowledged.

Worked out from the alarm record alone. Pure, over its rows.
"""

from __future__ import annotations

__all__ = ["STANDING_MS", "AlarmFigures", "LimitFigures", "alarm_figures"]

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from statistics import median
from typing import Final

from alerts.watch.alarm_table import AlarmEvent, State
from alerts.watch.chatter import MOST_RAISES, WINDOW_S
from ingest.store.alarms.alarm_record import TransitionRow

# An alarm that stands for longer is stale: IEC 62682 and ANSI/ISA-18.2.
STANDING_MS: Final = 24 * 3_600_000
_DAY_MS: Final = 24 * 3_600_000
# A flood: more than so many alarms in a period of ten minutes.
_PERIOD_MS: Final = 600_000
_FLOOD: Final = 10
_MOST_FREQUENT: Final = 10
_STANDS: Final = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitFigures:
    """Of one limit. alarms: how often it was raised; standing: how many of its alarms stood for more than 24 h;
    chattering: how often it began to chatter; acknowledged_s: from the raise to each acknowledgement, in seconds;
    unacknowledged: how many were never acknowledged, or not yet.
    """

    key: str
    alarms: int
    standing: int
    chattering: int
    acknowledged_s: tuple[float, ...]
    unacknowledged: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmFigures:
    """Of all limits from from_ms to to_ms (UTC ms).

    limits: those that raised an alarm or had one that stood, most alarms first; most_in_a_day: of the days of the
    cellar; flood_share: of the periods of ten minutes, those with more than ten alarms; most_standing: how many stood
    for more than 24 h at one time; standing_now: how many do at the end; frequent_share: of all alarms, those of the
    ten limits that raise most; priorities: alarms by priority, "" where the limit is gone.
    """

    from_ms: int
    to_ms: int
    limits: tuple[LimitFigures, ...]
    most_in_a_day: int
    flood_share: float
    most_standing: int
    standing_now: int
    frequent_share: float
    priorities: Mapping[str, int]

    @property
    def days(self) -> float:
        """How many days of 24 h were looked at."""
        return (self.to_ms - self.from_ms) / _DAY_MS

    @property
    def alarms(self) -> int:
        """How many alarms were raised."""
        return sum(limit.alarms for limit in self.limits)

    @property
    def acknowledged_s(self) -> tuple[float, ...]:
        """From the raise to each acknowledgement, in seconds."""
        return tuple(seconds for limit in self.limits for seconds in limit.acknowledged_s)

    @property
    def median_acknowledged_s(self) -> float | None:
        """The median of these, None where nobody acknowledged anything."""
        return median(self.acknowledged_s) if self.acknowledged_s else None


@dataclass(slots=True)
class _Story:
    """What the record says of one limit."""

    raised_ms: list[int] = field(default_factory=list)
    stood: list[tuple[int, int | None]] = field(default_factory=list)
    answered: list[tuple[int, int | None]] = field(default_factory=list)


def alarm_figures(
    steps: Iterable[TransitionRow], priority_of: Mapping[str, str], from_ms: int, to_ms: int, zone: tzinfo
) -> AlarmFigures:
    """Work the figures out for from_ms <= raised < to_ms (UTC ms).

    steps: the record from its beginning, in its order, whose times go back where the clock was set back; priority_of:
    of each limit that is watched now, by its key.
    Raises ValueError where the time has no length.
    """
    if from_ms >= to_ms:
        raise ValueError("the time of the figures must end after it begins")
    rows_of: dict[str, list[TransitionRow]] = defaultdict(list)
    for step in steps:
        if step.at_ms < to_ms:
            rows_of[step.key].append(step)
    by_key = {key: _story(rows) for key, rows in rows_of.items()}
    limits = [
        figures for key, story in by_key.items() if (figures := _of_limit(key, story, from_ms, to_ms)) is not None
    ]
    limits.sort(key=lambda each: (-each.alarms, -each.standing, each.key))
    raised = sorted(at_ms for story in by_key.values() for at_ms in story.raised_ms if at_ms >= from_ms)
    alarms = len(raised)
    frequent = sum(each.alarms for each in limits[:_MOST_FREQUENT])
    priorities: Counter[str] = Counter()
    for each in limits:
        priorities[priority_of.get(each.key, "")] += each.alarms
    stale = [span for story in by_key.values() for span in _stale(story, from_ms, to_ms)]
    return AlarmFigures(
        from_ms=from_ms,
        to_ms=to_ms,
        limits=tuple(limits),
        most_in_a_day=_most_in_a_day(raised, zone),
        flood_share=_flood_share(raised, from_ms, to_ms),
        most_standing=_most_at_once(stale),
        standing_now=sum(end_ms >= to_ms for _, end_ms in stale),
        frequent_share=frequent / alarms if alarms else 0.0,
        priorities=dict(priorities),
    )


def _story(rows: Sequence[TransitionRow]) -> _Story:
    story = _Story()
    stands_since: int | None = None
    waits_since: int | None = None
    for row in rows:
        is_raise = row.to_state == State.UNACKNOWLEDGED and row.from_state != State.UNACKNOWLEDGED
        if row.to_state in _STANDS and stands_since is None:
            stands_since = row.at_ms
        elif row.to_state not in _STANDS and stands_since is not None:
            story.stood.append((stands_since, row.at_ms))
            stands_since = None
        if waits_since is not None and (is_raise or row.to_state not in (State.UNACKNOWLEDGED, State.RETURNED)):
            is_answer = row.event == AlarmEvent.ACKNOWLEDGE
            story.answered.append((waits_since, row.at_ms if is_answer else None))
            waits_since = None
        if is_raise:
            story.raised_ms.append(row.at_ms)
            waits_since = row.at_ms
    if stands_since is not None:
        story.stood.append((stands_since, None))
    if waits_since is not None:
        story.answered.append((waits_since, None))
    return story


def _of_limit(key: str, story: _Story, from_ms: int, to_ms: int) -> LimitFigures | None:
    raised = [at_ms for at_ms in story.raised_ms if at_ms >= from_ms]
    answered = [(begin_ms, end_ms) for begin_ms, end_ms in story.answered if begin_ms >= from_ms]
    standing = len(_stale(story, from_ms, to_ms))
    if not raised and not standing:
        return None
    return LimitFigures(
        key=key,
        alarms=len(raised),
        standing=standing,
        chattering=_chatters(raised),
        acknowledged_s=tuple(max(0, end_ms - begin_ms) / 1000 for begin_ms, end_ms in answered if end_ms is not None),
        unacknowledged=sum(end_ms is None for _, end_ms in answered),
    )


def _stale(story: _Story, from_ms: int, to_ms: int) -> list[tuple[int, int]]:
    """The spans in which an alarm stood for more than 24 h already: from then on, to its end or that of the time."""
    spans = [
        (begin_ms + STANDING_MS, to_ms if end_ms is None else min(end_ms, to_ms)) for begin_ms, end_ms in story.stood
    ]
    return [(begin_ms, end_ms) for begin_ms, end_ms in spans if begin_ms < end_ms and end_ms > from_ms]


def _most_at_once(spans: Sequence[tuple[int, int]]) -> int:
    # An end before a begin of the same moment: they did not stand at once.
    edges = sorted([(begin_ms, 1) for begin_ms, _ in spans] + [(end_ms, -1) for _, end_ms in spans])
    most = count = 0
    for _, change in edges:
        count += change
        most = max(most, count)
    return most


def _chatters(raised_ms: Sequence[int]) -> int:
    """How often raises began to follow each other as in ``alerts.watch.chatter``, after half an hour without one."""
    count, in_chatter = 0, False
    for number, at_ms in enumerate(raised_ms):
        if number and at_ms - raised_ms[number - 1] >= WINDOW_S * 1000:
            in_chatter = False
        before = number - MOST_RAISES
        if not in_chatter and before >= 0 and at_ms - raised_ms[before] < WINDOW_S * 1000:
            count, in_chatter = count + 1, True
    return count


def _most_in_a_day(raised_ms: Sequence[int], zone: tzinfo) -> int:
    days = Counter(datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone).date() for at_ms in raised_ms)
    return max(days.values(), default=0)


def _flood_share(raised_ms: Sequence[int], from_ms: int, to_ms: int) -> float:
    periods = Counter((at_ms - from_ms) // _PERIOD_MS for at_ms in raised_ms)
    return sum(count > _FLOOD for count in periods.values()) / max(1, -(-(to_ms - from_ms) // _PERIOD_MS))
