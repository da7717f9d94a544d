"""The worst of the alarms of each priority, as a lamp or a siren shows it."""

from __future__ import annotations

__all__ = ["PRIORITIES", "LampState", "lamp_states", "payload_of"]

from collections.abc import Iterable, Mapping
from typing import Final, NamedTuple

from alerts.watch import State
from ingest.cellar import EffectiveLimit, Priority
from ingest.json_text import json_text

PRIORITIES: Final[tuple[Priority, ...]] = ("high", "medium", "low")


class LampState(NamedTuple):
    """standing: how many alarms of a priority stand and are not muted; unacknowledged: how many nobody has seen; known:
    whether that is all, so that a lamp may go out.
    """

    standing: int = 0
    unacknowledged: int = 0
    known: bool = True

    @property
    def word(self) -> str:
        """``on``, ``seen``, ``off`` or ``unknown``. What nobody has seen counts, whatever else is not known."""
        if self.unacknowledged:
            return "on"
        if not self.known:
            return "unknown"
        return "seen" if self.standing else "off"


def lamp_states(states: Iterable[tuple[str, State]], limits: Mapping[str, EffectiveLimit]) -> dict[Priority, LampState]:
    """Count the alarms that stand. states: of each limit by its key; limits: by key; others are left out."""
    standing = dict.fromkeys(PRIORITIES, 0)
    unacknowledged = dict.fromkeys(PRIORITIES, 0)
    for key, state in states:
        if key in limits and state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
            standing[limits[key].priority] += 1
            unacknowledged[limits[key].priority] += state is State.UNACKNOWLEDGED
    return {priority: LampState(standing[priority], unacknowledged[priority]) for priority in PRIORITIES}


def payload_of(state: LampState, form: str) -> bytes:
    """Write a state as it is published. form: ``plain`` or ``json``."""
    if form == "plain":
        return state.word.encode()
    if state.word == "unknown":
        return json_text({"state": state.word, "standing": None, "unacknowledged": None}).encode()
    return json_text({"state": state.word, "standing": state.standing, "unacknowledged": state.unacknowledged}).encode()
