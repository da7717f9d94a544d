"""Whether everything works that a heartbeat vouches for: readings flow, limits are judged, messages get out. Pure."""

from __future__ import annotations

__all__ = ["LONGEST_TURN_S", "Work", "what_fails"]

from dataclasses import dataclass
from typing import Final

# As long ago as the last turn may be; a turn is made each second.
LONGEST_TURN_S: Final = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """How leeside's work stands at a moment.

    turn_ago_s: how long ago the last turn was [s]; ingest_responds: whether the ingest daemon does; silent, heard:
    probes that are silent, and those that are not; store_trouble: why the store takes no writes, "" where it does;
    undelivered: messages that a channel does not take.
    """

    turn_ago_s: float
    ingest_responds: bool
    silent: int
    heard: int
    store_trouble: str = ""
    undelivered: int = 0


def what_fails(work: Work) -> str:
    """Say what does not work, "" where all does: one probe of several that is silent has its own alarm and is no
    failure, but all of them are.
    """
    if work.turn_ago_s > LONGEST_TURN_S:
        return f"limits have not been judged for {work.turn_ago_s:.0f} s"
    if work.store_trouble:
        return f"the store takes no writes: {work.store_trouble}"
    if not work.ingest_responds:
        return "the ingest daemon does not respond"
    if work.silent and not work.heard:
        return "no probe is heard"
    if work.undelivered:
        return f"{work.undelivered} {'message does' if work.undelivered == 1 else 'messages do'} not get out"
    return ""
