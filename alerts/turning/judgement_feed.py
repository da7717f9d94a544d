"""From stored judgements to the readings that limits are judged by."""

from __future__ import annotations

__all__ = ["JudgementFeed", "as_reading"]

import math
from collections.abc import Collection, Sequence
from typing import Final

from alerts.watch.turn import JUDGEMENT_FRESH_S, is_judged_lately
from alerts.watch.turn_inputs import WatchReading
from ingest.cellar import judged_id
from ingest.judgement import Judgement
from ingest.reading import Quality, Reason, quality_code
from ingest.store import Store
from ingest.store.judgements import judgement_count, newest_judgements

# As of a probe that reports a fault: it holds the state and restarts delays, and it ends no alarm.
_UNDECIDED: Final = quality_code(Quality.BAD, Reason.FAULT)


class JudgementFeed:
    """The judgements that came since the last turn. At a start all newest ones are given: the same one twice does no
    harm.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._given = self._taken = 0
        # Of each place the newest compensated pressure that decides: until when it is young, UTC ms.
        self._compensated: dict[str, int] = {}

    def readings(self, now_ms: int) -> Sequence[WatchReading]:
        """Give what is new as readings; now_ms: UTC milliseconds. Costs one look at an index when nothing is."""
        self._given = judgement_count(self._store)
        if self._given == self._taken:
            return ()
        judgements = newest_judgements(self._store, after=self._taken)
        for judgement in judgements:
            if judgement.name == "compensated_pressure":
                young_until_ms = judgement.at_ms + round(JUDGEMENT_FRESH_S * 1000)
                self._compensated[judgement.place] = young_until_ms if judgement.decides else 0
        return [as_reading(judgement, now_ms) for judgement in judgements]

    def compensated(self, now_ms: int) -> Collection[str]:
        """Give the vessels of which a compensated pressure was given that decides, and is not too old (UTC ms)."""
        return [place for place, until_ms in self._compensated.items() if now_ms <= until_ms]

    def taken(self) -> None:
        """Give what was given last not again: the turn that took it has been kept."""
        self._taken = self._given


def as_reading(judgement: Judgement, now_ms: int) -> WatchReading:
    """Make the reading that limits are judged by.

    What decides nothing, or was worked out from what is too old by now (UTC ms), holds the state: it never ends an
    alarm.
    """
    probe = judged_id(judgement.place, judgement.name)
    if judgement.value is None or not judgement.decides or not is_judged_lately(judgement.at_ms, now_ms):
        return WatchReading(probe, judgement.at_ms, math.nan, _UNDECIDED, judgement.finding)
    return WatchReading(probe, judgement.at_ms, judgement.value, finding=judgement.finding)
