"""What lives on from turn to turn: a record for each limit, and its JSON.

Monotonic stamps mean something only within one boot. A record that is read back in the same boot goes on where it was.
In another one a running delay keeps its own-time part, its monotonic part starts again, and the wall clock says how old
the newest reading is. A new reading alone is no reason to write a record, so how far each probe's readings have come is
read from the store, and for how long each limit on silence has heard nothing from the pulse.
"""

from __future__ import annotations

__all__ = [
    "LimitRecord",
    "NewestReading",
    "Track",
    "WatchState",
    "WatchStateUnreadable",
    "fresh_track",
    "is_kept_alike",
    "kept",
]

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, NamedTuple, Self

from alerts.watch.agenda import Agenda
from alerts.watch.alarm import AlarmState
from alerts.watch.alarm_table import State
from alerts.watch.change_window import ChangeWindow
from alerts.watch.chatter import STEADY, Chatter
from alerts.watch.condition import Condition
from alerts.watch.level import LevelTrack
from alerts.watch.limit import Rule, rule_of
from alerts.watch.no_data import SilenceTrack
from alerts.watch.probe_clock import ProbeClock
from alerts.watch.shelving import OutOfService, Shelving
from alerts.watch.turn_inputs import Now
from ingest.cellar import EffectiveLimit

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

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
    chatter: Chatter = STEADY

    @classmethod
    def fresh(cls, limit: EffectiveLimit, mono: float) -> Self:
        """Make the record of a limit that was never judged; mono: monotonic seconds now."""
        rule = rule_of(limit)
        return cls(rule, fresh_track(rule, mono), AlarmState(limit.key))

    def tracked(self, track: Track) -> Self:
        """The record with another track; as ``dataclasses.replace``, and quicker."""
        return type(self)(self.rule, track, self.alarm, self.chatter)

    @property
    def condition(self) -> Condition:
        """The condition as it stands; since_ms is 0 while it has never changed."""
        track = self.track
        key, since_ms = self.alarm.key, track.since_ms or 0
        if isinstance(track, LevelTrack):
            return Condition(key, track.active, since_ms, track.value, track.finding, track.extreme)
        return Condition(key, track.active, since_ms, None)

    def to_json(self, boot: str = "") -> str:
        """Write the record. boot: in which its monotonic stamps count; "" leaves them out."""
        document: dict[str, Any] = {
            "form": _FORM,
            "rule": self.rule._asdict(),
            "track": _lasting(self.track),
            "alarm": _stored_alarm(self.alarm),
            "chatter": _flat(self.chatter),
        }
        even: dict[str, Any] = {}
        if isinstance(self.track, LevelTrack) and self.track.pending_ms is not None:
            even = {"pending": self.track.pending_mono, "newest": self.track.newest_mono}
        if self.alarm.shelving is not None:
            even["shelving_end"] = self.alarm.shelving.end_mono
        if boot and even:
            document["even"] = {"boot": boot, **even}
        return json.dumps(document, separators=(",", ":"), ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str, mono: float, boot: str = "") -> Self:
        """Read what ``to_json`` wrote, anchored at ``mono`` (monotonic seconds now, of that boot).

        Raises WatchStateUnreadable.
        """
        try:
            document = json.loads(text)
            if document["form"] != _FORM:
                raise WatchStateUnreadable(f"form {document['form']!r} of a stored alarm is not known, only {_FORM}")
            rule = Rule(**document["rule"])
            track = _anchored(rule, document["track"], mono)
            even = document.get("even", {})
            if not boot or even.get("boot") != boot:
                even = {}
            if isinstance(track, LevelTrack) and "pending" in even:
                track = replace(track, pending_mono=even["pending"], newest_mono=even["newest"])
            chatter = document.get("chatter", {})  # records of earlier versions have none
            return cls(
                rule,
                track,
                _alarm(document["alarm"], even.get("shelving_end")),
                Chatter(**{**chatter, "raises_ms": tuple(chatter.get("raises_ms", ()))}),
            )
        except WatchStateUnreadable:
            raise
        except (ValueError, KeyError, TypeError) as error:
            raise WatchStateUnreadable(f"a stored alarm cannot be read ({error!r}): {text[:200]}") from error

    def shelved_until(self, clock_ms: int, mono: float) -> Self:
        """The record with the end of its shelving, if there is one, on the monotonic clock of this boot.

        clock_ms: UTC ms now, by what is known of it.
        """
        shelving = self.alarm.shelving
        if shelving is None:
            return self
        return replace(self, alarm=replace(self.alarm, shelving=shelving.anchored(clock_ms, mono)))

    def seen_until(self, newest: NewestReading, now: Now | None = None) -> Self:
        """The record when its probe's readings up to this one have been judged. now: of the restart."""
        track = self.track
        if track.newest_ms is None or track.newest_ms < newest.at_ms:
            track = replace(track, newest_ms=newest.at_ms)
        if isinstance(track, LevelTrack):
            if newest.value is not None:
                track = replace(track, value=newest.value)
            if now is not None and now.utc_ms >= newest.at_ms:
                seen_mono = now.mono - (now.utc_ms - newest.at_ms) / 1000
                if track.newest_mono is None or track.newest_mono < seen_mono:
                    track = replace(track, newest_mono=seen_mono)
        return self if track is self.track else replace(self, track=track)

    def silent_for(self, silent_s: float, mono: float) -> Self:
        """The record of a limit on silence that had heard nothing for so long before the restart."""
        if not isinstance(self.track, SilenceTrack):
            return self
        return replace(self, track=replace(self.track, seen_mono=mono - silent_s))


class NewestReading(NamedTuple):
    """The newest of a probe's readings that were judged. value: None where no limit may judge by it."""

    at_ms: int
    value: float | None = None


@dataclass(frozen=True, slots=True)
class WatchState:
    """records: by limit key; clocks: by probe id; agenda: what follows from the records, None until a turn made it."""

    records: Mapping[str, LimitRecord] = field(default_factory=dict)
    clocks: Mapping[str, ProbeClock] = field(default_factory=dict)
    agenda: Agenda | None = field(default=None, compare=False, repr=False)

    def silences(self, mono: float, *, longer_than_s: float) -> dict[str, float]:
        """For how long, in seconds, limits on silence have heard nothing, if longer than that.

        Those that alarm are left out, but not those whose alarm is suppressed: they have their time again afterwards.
        """
        silences = {}
        for key, record in self.records.items():
            track = record.track
            waits = not track.active or record.alarm.suppressed
            if isinstance(track, SilenceTrack) and waits and mono - track.seen_mono > longer_than_s:
                silences[key] = round(mono - track.seen_mono, 1)
        return silences

    def redated(self) -> Self:
        """The state after times of stored readings were moved: no reading is late any more, running delays begin
        again.
        """
        records = {}
        for key, record in self.records.items():
            track: Track = replace(record.track, newest_ms=None)
            if isinstance(track, LevelTrack):
                track = replace(track, pending_ms=None, window=None)
            records[key] = replace(record, track=track)
        return replace(self, records=records, clocks={}, agenda=None)

    def with_windows(self, windows: Mapping[str, ChangeWindow]) -> Self:
        """The state with what limits on a rate remember, by limit key; keys without a record are passed over."""
        records = dict(self.records)
        for key, window in windows.items():
            if key in records and isinstance(track := records[key].track, LevelTrack):
                records[key] = replace(records[key], track=replace(track, window=window))
        return replace(self, records=records)

    @classmethod
    def from_rows(
        cls,
        rows: Mapping[str, str],
        now: Now,
        newest: Mapping[str, NewestReading] = MappingProxyType({}),
        silent_s: Mapping[str, float] = MappingProxyType({}),
        known_ms: int = 0,
    ) -> Self:
        """Read stored records: limit key -> JSON.

        newest: by probe id; silent_s: limit key -> for how long a limit on silence had heard nothing, seconds;
        known_ms: the latest time that is stored, UTC ms; a clock behind it is wrong. Raises WatchStateUnreadable.
        """
        clock_ms = max(now.utc_ms, known_ms)
        records = {
            key: LimitRecord.from_json(text, now.mono, now.boot).shelved_until(clock_ms, now.mono)
            for key, text in rows.items()
        }
        clocks: dict[str, ProbeClock] = {}
        for key, record in records.items():
            probe = record.rule.probe
            # The newest reading may have been none that a limit on bad measurement hears.
            if probe in newest and record.rule.kind != "bad measurement":
                records[key] = record.seen_until(newest[probe], now)
            if key in silent_s:
                records[key] = records[key].silent_for(silent_s[key], now.mono)
            newest_ms = records[key].track.newest_ms
            if probe and newest_ms is not None and isinstance(record.track, LevelTrack):
                known = clocks.get(probe, ProbeClock()).newest_ms
                clocks[probe] = ProbeClock(newest_ms if known is None else max(known, newest_ms))
        return cls(records, clocks)


def fresh_track(rule: Rule, mono: float, *, active: bool = False, since_ms: int | None = None) -> Track:
    """A track that has seen nothing; active: the condition as the limit's former rule left it."""
    if rule.kind in _ON_SILENCE:
        return SilenceTrack(active, since_ms, mono)
    return LevelTrack(active, since_ms)


def is_kept_alike(before: LimitRecord, after: LimitRecord) -> bool:
    """Whether nothing changed that a record is written for; see ``kept``."""
    old, new = before.track, after.track
    is_same = before.alarm is after.alarm and before.chatter is after.chatter and before.rule is after.rule
    if is_same and not old.active and not new.active and old.since_ms == new.since_ms:
        # What most readings change. Of a condition that is not true little is kept.
        if isinstance(old, SilenceTrack) and isinstance(new, SilenceTrack):
            return True
        if isinstance(old, LevelTrack) and isinstance(new, LevelTrack):
            return old.pending_ms == new.pending_ms
    return kept(before) == kept(after)


def kept(record: LimitRecord) -> tuple[object, ...]:
    """What a record is written for when it changes.

    The newest reading is not in it, so that a quiet cellar writes nothing. The extreme counts in steps of the
    deadband: after a power cut it is at most one step behind. A finding counts while it explains an alarm.
    """
    track = record.track
    if isinstance(track, SilenceTrack):
        return record.rule, track.active, track.since_ms, record.alarm, record.chatter
    extreme: float | None = None
    if track.active and track.extreme is not None:
        step = record.rule.deadband
        extreme = math.floor((track.extreme - record.rule.setpoint) / step) if step > 0 else track.extreme
    finding = track.finding if track.active else ""
    return record.rule, track.active, track.since_ms, track.pending_ms, extreme, finding, record.alarm, record.chatter


def _stored_alarm(alarm: AlarmState) -> dict[str, Any]:
    document = _flat(alarm)
    if alarm.shelving is not None:
        document["shelving"] = alarm.shelving.as_stored()
    if alarm.out_of_service is not None:
        document["out_of_service"] = _flat(alarm.out_of_service)
    return document


def _alarm(stored: dict[str, Any], shelving_end: float | None) -> AlarmState:
    state = State(stored["state"])
    shelving, out_of_service = stored.get("shelving"), stored.get("out_of_service")
    return AlarmState(
        **{
            **stored,
            "state": state,
            # Records of earlier versions have only the state.
            "suppressed": stored.get("suppressed", state is State.SUPPRESSED),
            "shelving": None if shelving is None else Shelving(**shelving, end_mono=shelving_end),
            "out_of_service": None if out_of_service is None else OutOfService(**out_of_service),
        }
    )


def _lasting(track: Track) -> dict[str, Any]:
    if isinstance(track, SilenceTrack):
        # Not newest_ms: a new reading writes no record, so what was stored may be of weeks ago.
        return {"active": track.active, "since_ms": track.since_ms}
    # The window is filled again from stored readings.
    return {name: value for name, value in _flat(track).items() if not name.endswith("_mono") and name != "window"}


def _flat(part: DataclassInstance) -> dict[str, Any]:
    """Give a dataclass of plain values as a dict; ``asdict``, which copies all that lies within, takes longer."""
    return {name: getattr(part, name) for name in _names_of(type(part))}


@cache
def _names_of(kind: type[DataclassInstance]) -> tuple[str, ...]:
    return tuple(each.name for each in fields(kind))


def _anchored(rule: Rule, stored: dict[str, Any], mono: float) -> Track:
    if rule.kind in _ON_SILENCE:
        return SilenceTrack(stored["active"], stored["since_ms"], mono)
    return LevelTrack(**stored, pending_mono=mono, newest_mono=None)
