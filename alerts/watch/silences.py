"""Silences that run out in a turn: that of one probe, or that of a whole room; neither while its cause is in doubt."""

from __future__ import annotations

__all__ = ["DOUBT_S", "Silences"]

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final

from alerts.watch import no_data
from alerts.watch.no_data import SilenceTrack
from alerts.watch.open_turn import OpenTurn
from alerts.watch.room_silence import RoomProbe, Verdict, verdict
from alerts.watch.suppression import Suppression
from alerts.watch.turn_inputs import WatchReading, counts_as_data
from ingest.cellar import EffectiveLimit
from ingest.pulse import PULSE_S

# A part of leeside that was not reported well for longer than this may be gone: a pulse and a half.
DOUBT_S: Final = 1.5 * PULSE_S


class Silences:
    """The limits on silence of a cellar, and the rooms that they belong to."""

    def __init__(self, limits: Mapping[str, EffectiveLimit], suppression: Suppression) -> None:
        self._limits = limits
        self._parents = suppression.parents
        self._room_of = {
            key: parent for key, parents in self._parents.items() for parent in parents if limits[parent].role == "room"
        }
        self._keys_of_room: dict[str, list[str]] = {}
        for key, room in self._room_of.items():
            self._keys_of_room.setdefault(room, []).append(key)
        self._room_of_probe = {limits[key].probe: room for key, room in self._room_of.items()}

    @property
    def rooms(self) -> Collection[str]:
        """The keys of the limits on rooms: no time runs out for them, their probes' silence decides."""
        return self._keys_of_room.keys()

    def hear(self, turn: OpenTurn, readings: Mapping[str, Sequence[WatchReading]]) -> None:
        """Let rooms hear their probes. readings: what came of each probe in this turn."""
        times_ms: dict[str, list[int]] = {}
        for probe, new in readings.items():
            if (room := self._room_of_probe.get(probe)) is not None:
                times = [reading.at_ms for reading in new if counts_as_data(reading.quality)]
                times_ms.setdefault(room, []).extend(times)
        for room, times in times_ms.items():
            turn.judged(room, *no_data.hear(_track(turn, room), self._limits[room], times, mono=turn.now.mono))

    def run_out(self, turn: OpenTurn, due: Iterable[str]) -> None:
        """Begin the condition of silences that are too long. due: the keys of those that may be."""
        due_of_room: dict[str, list[str]] = {}
        for key in due:
            if not turn.now.mono - _track(turn, key).seen_mono > self._limits[key].setpoint:
                continue
            if self._is_for_room(turn, key):
                due_of_room.setdefault(self._room_of[key], []).append(key)
            elif not self._cause_in_doubt(turn, key):
                self._begin(turn, key)
        for room, keys in due_of_room.items():
            others = [key for key in self._keys_of_room[room] if key not in keys and self._is_for_room(turn, key)]
            decision = verdict(
                [self._room_probe(turn, key) for key in keys],
                [self._room_probe(turn, key) for key in others],
                turn.now.mono,
            )
            if decision is Verdict.ROOM:
                self._begin(turn, room)
            if decision is not Verdict.WAIT:
                for key in keys:
                    self._begin(turn, key)

    def _begin(self, turn: OpenTurn, key: str) -> None:
        track = _track(turn, key)
        if not track.active:
            after, change = no_data.run_out(track, key, turn.now)
            turn.judged(key, after, [change])

    def _is_for_room(self, turn: OpenTurn, key: str) -> bool:
        """Whether the silence of a probe may be that of its room: it was not known before, and nothing explains it."""
        room = self._room_of.get(key)
        if room is None or _track(turn, key).active or turn.records[key].alarm.mutes:
            return False
        is_explained = any(turn.records[parent].track.active for parent in self._parents[key])
        return not is_explained and not self._cause_in_doubt(turn, key)

    def _cause_in_doubt(self, turn: OpenTurn, key: str) -> bool:
        """Whether a part of leeside that would explain this silence may be gone, and that is not decided yet."""
        return any(self._is_in_doubt(turn, parent) for parent in self._parents.get(key, ()))

    def _is_in_doubt(self, turn: OpenTurn, key: str) -> bool:
        if self._limits[key].probe or key in self._keys_of_room:
            return False
        cause = turn.records[key].track
        return isinstance(cause, SilenceTrack) and not cause.active and turn.now.mono - cause.seen_mono > DOUBT_S

    def _room_probe(self, turn: OpenTurn, key: str) -> RoomProbe:
        limit = self._limits[key]
        return RoomProbe(limit.at, limit.every_s, limit.setpoint, _track(turn, key).seen_mono)


def _track(turn: OpenTurn, key: str) -> SilenceTrack:
    track = turn.records[key].track
    assert isinstance(track, SilenceTrack)
    return track
