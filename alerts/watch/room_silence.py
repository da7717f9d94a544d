"""A room whose probes fall silent together: one cause, such as its power, and so one alarm instead of one for each.

It is decided when the first no-data time of a probe of the room runs out, and only among probes whose silence nothing
else explains: not those that were alarmed before, whose broker or line is gone, or that somebody muted.

A probe that was last heard at t could have fallen silent until a message was missing: until t + 1.5 intervals, and a
little for the way into the store. So with the probe whose time has run out:

* one that was heard after that span shows that the room is alive;
* one whose span ended before that probe was last heard had fallen silent before, for another reason;
* of the others, those that miss a message fell silent with it. Whoever reports too rarely to miss one yet is undecided.

Two that miss a message are enough if nobody is undecided. Otherwise the alarms wait, if that decides it within a
minute. Else three at two places are enough: a single box often carries the probes of a single vessel. The numbers are
this project's choice.
"""

from __future__ import annotations

__all__ = ["RoomProbe", "Verdict", "verdict"]

from collections.abc import Sequence
from enum import Enum
from typing import Final, NamedTuple

# Of its interval, after which a message is missing: probes are not punctual.
_MISSED_INTERVALS: Final = 1.5
# From the probe into the store, commit and turn included.
_ON_ITS_WAY_S: Final = 10.0
# For how long an alarm waits for a probe that is undecided.
_WAIT_S: Final = 60.0
_FEWEST: Final = 2
_FEWEST_WHILE_UNDECIDED: Final = 3


class Verdict(Enum):
    """Whether it is the room that fell silent, or each probe by itself, or that is not clear yet."""

    ROOM = "room"
    EACH = "each"
    WAIT = "wait"


class RoomProbe(NamedTuple):
    """A probe whose silence nothing else explains.

    place: where it is; every_s: its interval; no_data_s: its no-data time; seen_mono: when it was last heard,
    monotonic seconds.
    """

    place: str
    every_s: float
    no_data_s: float
    seen_mono: float

    @property
    def missed_mono(self) -> float:
        """When its next message is missing, monotonic seconds."""
        return self.seen_mono + min(_MISSED_INTERVALS * self.every_s + _ON_ITS_WAY_S, self.no_data_s)

    @property
    def due_mono(self) -> float:
        """When its no-data time runs out, monotonic seconds."""
        return self.seen_mono + self.no_data_s


def verdict(due: Sequence[RoomProbe], others: Sequence[RoomProbe], mono: float) -> Verdict:
    """Decide at mono (monotonic seconds). due: whose no-data time has run out, at least one; others: of the room."""
    last = max(due, key=lambda probe: probe.seen_mono)
    together = [probe for probe in (*due, *others) if probe.missed_mono >= last.seen_mono]
    if any(probe.seen_mono > last.missed_mono for probe in together):
        return Verdict.EACH
    silent = [probe for probe in together if probe.missed_mono <= mono]
    undecided = [probe for probe in together if probe.missed_mono > mono]
    if not undecided:
        return Verdict.ROOM if len(silent) >= _FEWEST else Verdict.EACH
    if max(probe.missed_mono for probe in undecided) <= min(probe.due_mono for probe in due) + _WAIT_S:
        return Verdict.WAIT
    places = {probe.place for probe in silent}
    return Verdict.ROOM if len(silent) >= _FEWEST_WHILE_UNDECIDED and len(places) >= _FEWEST else Verdict.EACH
