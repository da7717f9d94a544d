"""What lives on from turn to turn: a record for each limit, and its JSON.

Monotonic stamps do not survive a restart. When a record is read back, a running delay keeps its own-time part and its
monotonic part starts again; until the first reading no reading counts as fresh, so no delay can run out on silence;
and a limit on silence grants its whole time once more. A new reading alone is no reason to write a record, so how far
each probe's readings have come is read from the store.
"""

from __future__ import annotations

__all__ = ["LimitRecord", "Track", "WatchState", "WatchStateUnreadable", "fresh_track", "kept"]

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Final, Self

from alerts.watch.alarm import AlarmState
from alerts.watch.alarm_table import State
from alerts.watch.condition import Condition
from alerts.watch.level import LevelTrack
from alerts.watch.limit import Rule, rule_of
from alerts.watch.no_data import SilenceTrack
from ingest.cellar import EffectiveLimit

Track = LevelTrack | SilenceTrack

_FORM: Final = 1
_ON_SILENCE: Final = frozenset({"no data", "bad measurement"})


class WatchStateUnreadable(ValueError):
    """A stored record that is not what ``to_json`` writes."""


@dataclass(frozen=True, slots=True)
class LimitRecord:
    """What is known of one limit. rule: what it was judged by so far; track: how far the judgement has come."""

    rule: Rule
    track: Track
    alarm: AlarmState

    @classmethod
    def fresh(cls, limit: EffectiveLimit, mono: float) -> Self:
        """Make the record of a limit that was never judged; mono: monotonic seconds now."""
        rule = rule_of(limit)
        return cls(rule, fresh_track(rule, mono), AlarmState(limit.key))

    @property
    def condition(self) -> Condition:
        """The condition as it stands; since_ms is 0 while it has never changed."""
        track = self.track
        value, extreme = (track.value, track.extreme) if isinstance(track, LevelTrack) else (None, None)
        return Condition(self.alarm.key, track.active, track.since_ms or 0, value, extreme=extreme)

    def to_json(self) -> str:
        """Write the record without what says nothing after a restart."""
        document = {
            "form": _FORM,
            "rule": self.rule._asdict(),
            "track": _lasting(self.track),
            "alarm": asdict(self.alarm),
        }
        return json.dumps(document, separators=(",", ":"), ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str, mono: float) -> Self:
        """Read what ``to_json`` wrote, anchored at ``mono`` (monotonic seconds now). Raises WatchStateUnreadable."""
        try:
            document = json.loads(text)
            if document["form"] != _FORM:
                raise WatchStateUnreadable(f"form {document['form']!r} of a stored alarm is not known, only {_FORM}")
            rule = Rule(**document["rule"])
            alarm = document["alarm"]
            return cls(
                rule, _anchored(rule, document["track"], mono), AlarmState(**{**alarm, "state": State(alarm["state"])})
            )
        except WatchStateUnreadable:
            raise
        except (ValueError, KeyError, TypeError) as error:
            raise WatchStateUnreadable(f"a stored alarm cannot be read ({error!r}): {text[:200]}") from error

    def seen_until(self, newest_ms: int) -> Self:
        """The record when readings of its probe up to this own time have been judged."""
        known = self.track.newest_ms
        if known is not None and known >= newest_ms:
            return self
        return replace(self, track=replace(self.track, newest_ms=newest_ms))


@dataclass(frozen=True, slots=True)
class WatchState:
    """The records by limit key."""

    records: Mapping[str, LimitRecord] = field(default_factory=dict)

    def redated(self) -> Self:
        """The state after times of stored readings were moved: no reading is late any more, running delays begin
        again.
        """
        records = {}
        for key, record in self.records.items():
            track: Track = replace(record.track, newest_ms=None)
            if isinstance(track, LevelTrack):
                track = replace(track, pending_ms=None)
            records[key] = replace(record, track=track)
        return replace(self, records=records)

    @classmethod
    def from_rows(cls, rows: Mapping[str, str], mono: float, newest_ms: Mapping[str, int]) -> Self:
        """Read stored records: limit key -> JSON.

        mono: monotonic seconds now; newest_ms: probe id -> own time of its newest reading that was judged. Raises
        WatchStateUnreadable.
        """
        records = {key: LimitRecord.from_json(text, mono) for key, text in rows.items()}
        for key, record in records.items():
            # Of what quality a probe's newest reading was is not known here.
            if record.rule.probe in newest_ms and record.rule.kind != "bad measurement":
                records[key] = record.seen_until(newest_ms[record.rule.probe])
        return cls(records)


def fresh_track(rule: Rule, mono: float, *, active: bool = False, since_ms: int | None = None) -> Track:
    """A track that has seen nothing; active: the condition as the limit's former rule left it."""
    if rule.kind in _ON_SILENCE:
        return SilenceTrack(active, since_ms, mono)
    return LevelTrack(active, since_ms)


def kept(record: LimitRecord) -> tuple[object, ...]:
    """What a record is written for when it changes.

    The newest reading is not in it, so that a quiet cellar writes nothing. The extreme counts in steps of the
    deadband: after a power cut it is at most one step behind.
    """
    track = record.track
    if isinstance(track, SilenceTrack):
        return record.rule, track.active, track.since_ms, record.alarm
    extreme: float | None = None
    if track.active and track.extreme is not None:
        step = record.rule.deadband
        extreme = math.floor((track.extreme - record.rule.setpoint) / step) if step > 0 else track.extreme
    return record.rule, track.active, track.since_ms, track.pending_ms, extreme, record.alarm


def _lasting(track: Track) -> dict[str, Any]:
    if isinstance(track, SilenceTrack):
        # Not newest_ms: a new reading writes no record, so what was stored may be of weeks ago.
        return {"active": track.active, "since_ms": track.since_ms}
    return {name: value for name, value in asdict(track).items() if not name.endswith("_mono")}


def _anchored(rule: Rule, stored: dict[str, Any], mono: float) -> Track:
    if rule.kind in _ON_SILENCE:
        return SilenceTrack(stored["active"], stored["since_ms"], mono)
    return LevelTrack(**stored, pending_mono=mono, newest_mono=None)
