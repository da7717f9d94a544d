"""The book: what lives on from turn to turn for each limit, and its JSON.

Monotonic stamps do not survive a restart. When an entry is read back, a running delay keeps its own-time part and its
monotonic part starts anew; until the first reading no reading counts as fresh, so no delay can run out on silence;
and a limit on silence grants its whole time once more. Who reads the book may say how far each probe's readings have
come (the store knows), for a new reading alone is no reason to write an entry.
"""

from __future__ import annotations

__all__ = ["LimitRecord", "Track", "WatchState", "WatchStateUnreadable", "fresh_track", "kept"]

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, Final, Self

from alerts.watch.alarm import AlarmState
from alerts.watch.alarm_table import State
from alerts.watch.condition import Condition
from alerts.watch.level import LevelTrack
from alerts.watch.limit import EffectiveLimit, Rule, rule_of
from alerts.watch.no_data import SilenceTrack

Track = LevelTrack | SilenceTrack

_FORM: Final = 1
_MONOTONIC: Final = frozenset({"pending_mono", "newest_mono", "seen_mono"})


class WatchStateUnreadable(ValueError):
    """A stored entry of the book that is not what ``to_json`` writes."""


@dataclass(frozen=True, slots=True)
class LimitRecord:
    """One limit's part of the book. rule: what it was judged by so far; track: how far the judgement has come."""

    rule: Rule
    track: Track
    alarm: AlarmState

    @classmethod
    def fresh(cls, limit: EffectiveLimit, mono: float) -> Self:
        """The entry of a limit that was never judged; mono: monotonic seconds now."""
        rule = rule_of(limit)
        return cls(rule, fresh_track(rule, mono), AlarmState(limit.key))

    @property
    def condition(self) -> Condition:
        """The condition as it stands; since_ms is 0 while it has never changed."""
        track = self.track
        value, extreme = (track.value, track.extreme) if isinstance(track, LevelTrack) else (None, None)
        return Condition(self.alarm.key, track.active, track.since_ms or 0, value, extreme=extreme)

    def to_json(self) -> str:
        """The entry without its monotonic stamps."""
        track = {name: value for name, value in _values(self.track).items() if name not in _MONOTONIC}
        document = {"form": _FORM, "rule": self.rule._asdict(), "track": track, "alarm": _values(self.alarm)}
        return json.dumps(document, separators=(",", ":"), ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str, mono: float, newest_ms: int | None = None) -> Self:
        """The entry again, anchored at ``mono`` (monotonic seconds now).

        newest_ms: own time of the newest reading of its probe that was judged before, where it is known. Raises
        BookUnreadable.
        """
        try:
            document = json.loads(text)
            if document["form"] != _FORM:
                raise WatchStateUnreadable(f"form {document['form']!r} of a stored alarm is not known, only {_FORM}")
            rule = Rule(**document["rule"])
            track = _anchored(rule, document["track"], mono)
            alarm = document["alarm"]
            entry = cls(rule, track, AlarmState(**{**alarm, "state": State(alarm["state"])}))
        except WatchStateUnreadable:
            raise
        except (ValueError, KeyError, TypeError) as error:
            raise WatchStateUnreadable(f"a stored alarm cannot be read ({error!r}): {text[:200]}") from error
        return entry if newest_ms is None else entry.seen_until(newest_ms)

    def seen_until(self, newest_ms: int) -> Self:
        """The entry when readings of its probe up to this own time have been judged."""
        known = self.track.newest_ms
        if known is not None and known >= newest_ms:
            return self
        return replace(self, track=replace(self.track, newest_ms=newest_ms))


@dataclass(frozen=True, slots=True)
class WatchState:
    """All entries by limit key."""

    entries: Mapping[str, LimitRecord] = field(default_factory=dict)

    def redated(self) -> Self:
        """The book after times of stored readings were moved: no reading is late any more, running delays begin
        anew."""
        entries = {}
        for key, entry in self.entries.items():
            track: Track = replace(entry.track, newest_ms=None)
            if isinstance(track, LevelTrack):
                track = replace(track, pending_ms=None)
            entries[key] = replace(entry, track=track)
        return replace(self, entries=entries)

    def to_json(self) -> str:
        """The whole book as one JSON object, key to entry."""
        return "{" + ",".join(f"{json.dumps(key)}:{entry.to_json()}" for key, entry in self.entries.items()) + "}"

    @classmethod
    def from_json(cls, text: str, mono: float) -> Self:
        """What ``to_json`` wrote, anchored at ``mono``. Raises WatchStateUnreadable."""
        try:
            rows = {key: json.dumps(entry) for key, entry in json.loads(text).items()}
        except (ValueError, AttributeError) as error:
            raise WatchStateUnreadable(f"the book of alarms cannot be read ({error!r})") from error
        return cls.from_rows(rows, mono)

    @classmethod
    def from_rows(cls, rows: Mapping[str, str], mono: float, newest_ms: Mapping[str, int] | None = None) -> Self:
        """The book from rows of limit key and entry's JSON.

        mono: monotonic seconds now; newest_ms: probe id to own time of its newest reading that was judged. Raises
        BookUnreadable.
        """
        entries = {key: LimitRecord.from_json(text, mono) for key, text in rows.items()}
        if newest_ms is not None:
            for key, entry in entries.items():
                if entry.rule.probe in newest_ms:
                    entries[key] = entry.seen_until(newest_ms[entry.rule.probe])
        return cls(entries)


def fresh_track(rule: Rule, mono: float, *, active: bool = False, since_ms: int | None = None) -> Track:
    """A track that has seen nothing; active: the condition as the limit's former rule left it."""
    if rule.kind == "no data":
        return SilenceTrack(active, since_ms, mono)
    return LevelTrack(active, since_ms)


def kept(entry: LimitRecord) -> tuple[object, ...]:
    """What an entry is written for when it changes.

    The newest reading is not in it, so that a quiet cellar writes nothing. The extreme counts in steps of the
    deadband: after a power cut it is at most one step behind.
    """
    track = entry.track
    if isinstance(track, SilenceTrack):
        return entry.rule, track.active, track.since_ms, entry.alarm
    extreme: float | None = None
    if track.active and track.extreme is not None:
        step = entry.rule.deadband
        extreme = math.floor((track.extreme - entry.rule.setpoint) / step) if step > 0 else track.extreme
    return entry.rule, track.active, track.since_ms, track.pending_ms, extreme, entry.alarm


def _values(record: Track | AlarmState) -> dict[str, Any]:
    return {item.name: getattr(record, item.name) for item in fields(record)}


def _anchored(rule: Rule, stored: dict[str, Any], mono: float) -> Track:
    if rule.kind == "no data":
        return SilenceTrack(**stored, seen_mono=mono)
    return LevelTrack(**stored, pending_mono=mono, newest_mono=None)
