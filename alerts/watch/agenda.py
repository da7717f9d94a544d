"""What a turn looks at although nothing new came of it: delays and silences that run out, and alarms that stand out.

All of it follows from the records, so it can be made again at any time. It is carried from turn to turn so that a turn
in which little is new looks at little.
"""

from __future__ import annotations

__all__ = ["Agenda"]

from collections.abc import Collection, Iterable, Mapping
from heapq import heapify, heappop, heappush
from typing import Final, Protocol

from alerts.watch import level, no_data
from alerts.watch.alarm import AlarmState
from alerts.watch.chatter import Chatter
from alerts.watch.level import LevelTrack
from alerts.watch.limit import Rule
from alerts.watch.no_data import SilenceTrack

# A sum of times is rounded. What is looked at a little early is not due yet, and is looked at again.
_EARLY_S: Final = 1e-6


class _Record(Protocol):
    """What the agenda asks of a ``LimitRecord``."""

    @property
    def track(self) -> LevelTrack | SilenceTrack: ...
    @property
    def alarm(self) -> AlarmState: ...
    @property
    def chatter(self) -> Chatter: ...


class Agenda:
    """Which limits need a look, and from when.

    rules: of the limits that it is about, by key; active: those whose condition is true; suppressed: those whose alarm
    is suppressed by design; shelved: those whose alarm is shelved; chattering: those whose alarm chatters.
    """

    __slots__ = ("_fresh_s", "_looks", "_moments", "_untimed", "active", "chattering", "rules", "shelved", "suppressed")

    def __init__(
        self, rules: Mapping[str, Rule], fresh_s: Mapping[str, float], untimed: Collection[str] = frozenset()
    ) -> None:
        """fresh_s: the no-data time of each probe, seconds; untimed: the keys that no time runs out for."""
        self.rules = rules
        self._fresh_s = fresh_s
        self._untimed = untimed
        self.active: set[str] = set()
        self.suppressed: set[str] = set()
        self.shelved: set[str] = set()
        self.chattering: set[str] = set()
        # The moment from which a limit needs a look, or an earlier one; and the same as a heap, with moments that no
        # longer count among them. So a reading that puts a silence off moves nothing here.
        self._moments: dict[str, float] = {}
        self._looks: list[tuple[float, str]] = []

    def copy(self) -> Agenda:
        """Give one that a turn may change."""
        copied = Agenda(self.rules, self._fresh_s, self._untimed)
        copied.active, copied.suppressed = self.active.copy(), self.suppressed.copy()
        copied.shelved, copied.chattering = self.shelved.copy(), self.chattering.copy()
        copied._moments, copied._looks = self._moments.copy(), self._looks.copy()
        return copied

    def note(self, key: str, record: _Record, mono: float) -> None:
        """Take a limit's record as it is now, at mono (monotonic seconds). A key of no limit is passed over."""
        if key not in self.rules:
            return
        self.note_track(key, record.track, mono)
        _keep(self.suppressed, key, record.alarm.suppressed)
        _keep(self.shelved, key, record.alarm.shelving is not None)
        _keep(self.chattering, key, record.chatter.since_ms is not None)

    def note_track(self, key: str, track: LevelTrack | SilenceTrack, mono: float) -> None:
        """Take how far a limit's judgement is now, while its alarm is as it was; the key is that of a limit."""
        _keep(self.active, key, track.active)
        if isinstance(track, LevelTrack):
            if track.pending_ms is None:
                return
            rule = self.rules[key]
            moment = level.next_look(track, rule, fresh_s=self._fresh_s[rule.probe], mono=mono)
        else:
            moment = None if key in self._untimed else no_data.next_look(track, self.rules[key])
        if moment is not None and moment < self._moments.get(key, float("inf")):
            self._moments[key] = moment
            heappush(self._looks, (moment, key))

    def note_all(self, records: Iterable[tuple[str, _Record]], mono: float) -> None:
        """Take many records."""
        for key, record in records:
            self.note(key, record, mono)

    def drop(self, key: str) -> None:
        """Forget a limit that has gone."""
        self._moments.pop(key, None)
        for keys in (self.active, self.suppressed, self.shelved, self.chattering):
            keys.discard(key)

    def take_due(self, mono: float) -> list[str]:
        """Take out the keys that need a look at mono. Each has to be noted again, whatever came of it."""
        due = []
        looks, moments = self._looks, self._moments
        while looks and looks[0][0] <= mono + _EARLY_S:
            moment, key = heappop(looks)
            if moments.get(key) == moment:
                del moments[key]
                due.append(key)
        if len(looks) > 2 * len(moments) + 64:
            self._looks = [(moment, key) for key, moment in moments.items()]
            heapify(self._looks)
        return due


def _keep(keys: set[str], key: str, is_in: bool) -> None:
    if is_in:
        keys.add(key)
    else:
        keys.discard(key)
