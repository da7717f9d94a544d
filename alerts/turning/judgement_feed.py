"""From stored judgements to the readings that limits are judged by."""

from __future__ import annotations

__all__ = ["MOST_PLACES", "JudgementFeed", "as_reading"]

import math
from collections.abc import Collection, Mapping, Sequence
from typing import Final, NamedTuple

from alerts.turning.judgement_queue import JudgementQueue
from alerts.watch.turn import JUDGEMENT_FRESH_S, is_judged_lately
from alerts.watch.turn_inputs import WatchReading
from ingest.cellar import EffectiveLimit, is_judged_id, judged_id
from ingest.judgement import Judgement
from ingest.reading import Quality, Reason, quality_code
from ingest.store import Store
from ingest.store.judgements import judged_numbers, judgement_count

# As of a probe that reports a fault: it holds the state and restarts delays, and it ends no alarm.
_UNDECIDED: Final = quality_code(Quality.BAD, Reason.FAULT)


# Of how many places a turn takes up what is new, so that it stays short (tests/benchmarks/judgements.py).
MOST_PLACES: Final = 150


class JudgementFeed:
    """The judgements that came since the last turn, a part at a time: first those that are beyond a limit.

    At a start all newest ones are given: the same one twice does no harm.
    """

    def __init__(self, store: Store, limits: Mapping[str, EffectiveLimit]) -> None:
        """limits: those that are watched, by key."""
        self._store = store
        self._queue = JudgementQueue()
        self._seen = 0
        self._given: Sequence[str] = ()
        # Of each place the newest compensated pressure that decides: until when it is young, UTC ms.
        self._compensated: dict[str, int] = {}
        self._bounds: dict[str, _Bounds] = {}
        self.watch(limits)

    def watch(self, limits: Mapping[str, EffectiveLimit]) -> None:
        """Take the limits that are watched from now on. What none of them looks at is not given."""
        self._bounds = {}
        for limit in limits.values():
            if is_judged_id(limit.probe):
                low, high = self._bounds.get(limit.probe, _Bounds())
                is_low, is_high = limit.kind == "low", limit.kind == "high"
                self._bounds[limit.probe] = _Bounds(
                    max(low, limit.setpoint) if is_low else low, min(high, limit.setpoint) if is_high else high
                )

    @property
    def has_more(self) -> bool:
        """Whether judgements wait beside those that were given last."""
        return len(self._queue) > len(self._given)

    def readings(self, now_ms: int, most: int = MOST_PLACES) -> Sequence[WatchReading]:
        """Give those of the next places as readings; now_ms: UTC milliseconds; most: places.

        Costs one look at an index when nothing is new.
        """
        count = judgement_count(self._store)
        if count != self._seen:
            self._line_up(count)
        self._given = self._queue.first(most)
        if not self._given:
            return ()
        judgements = judged_numbers(self._store, after=self._queue.after(self._given), places=self._given)
        return [reading for judgement in judgements if (reading := as_reading(judgement, now_ms)).probe in self._bounds]

    def compensated(self, now_ms: int) -> Collection[str]:
        """Give the vessels of which a compensated pressure is known that decides, and is not too old (UTC ms)."""
        return [place for place, until_ms in self._compensated.items() if now_ms <= until_ms]

    def taken(self) -> None:
        """Give what was given last not again: the turn that took it has been kept."""
        self._queue.remove(self._given)
        self._given = ()

    def _line_up(self, count: int) -> None:
        """Let what came after the answers that were seen wait for its turn. count: of the answers that there are."""
        places: dict[str, None] = {}
        urgent: dict[str, None] = {}
        for judgement in judged_numbers(self._store, after=self._seen):
            place, decides = judgement.place, judgement.decides
            if judgement.name == "compensated_pressure":
                young_until_ms = judgement.at_ms + round(JUDGEMENT_FRESH_S * 1000)
                self._compensated[place] = young_until_ms if decides else 0
            bounds = self._bounds.get(judged_id(place, judgement.name))
            if bounds is None:
                continue
            places[place] = None
            if decides and judgement.value is not None and not bounds.low <= judgement.value <= bounds.high:
                urgent[place] = None
        self._queue.put(places, urgent, after=self._seen)
        self._seen = count


class _Bounds(NamedTuple):
    """The nearest setpoints of the limits on a number, infinite where there is none on that side."""

    low: float = -math.inf
    high: float = math.inf


def as_reading(judgement: Judgement, now_ms: int) -> WatchReading:
    """Make the reading that limits are judged by.

    What decides nothing, or was worked out from what is too old by now (UTC ms), holds the state: it never ends an
    alarm.
    """
    probe = judged_id(judgement.place, judgement.name)
    if judgement.value is None or not judgement.decides or not is_judged_lately(judgement.at_ms, now_ms):
        return WatchReading(probe, judgement.at_ms, math.nan, _UNDECIDED, judgement.finding)
    return WatchReading(probe, judgement.at_ms, judgement.value, finding=judgement.finding)
