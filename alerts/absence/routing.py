"""Who hears of an alarm while the owner is away. Pure."""

from __future__ import annotations

__all__ = ["Route", "route_of"]

from typing import NamedTuple

from alerts.absence.safe_steps import CALL_STEP, KEEP_OUT_STEP
from ingest.cellar import EffectiveLimit
from ingest.store.alarms.absences import Absence


class Route(NamedTuple):
    """hears: whether the person gets the message at all; step: what the helper can do, in place of the limit's action,
    "" for the limit's own; held_until_ms: the message waits until then [UTC ms], None where it does not.
    """

    hears: bool
    step: str = ""
    held_until_ms: int | None = None


def route_of(absence: Absence, limit: EffectiveLimit | None, step: str, person: str, *, got_it: bool) -> Route:
    """Say how a message about an alarm of a limit reaches a person during an absence.

    limit: None where it has left the cellar file; step: what a helper can do about it, "" for nothing; got_it: whether
    the person was sent this alarm. The helper gets what there is a step for, and whatever follows what they got. Others
    get all of it when the absence is over. Only an urgent alarm about which a helper can do no more than keep out or
    call the owner reaches them at once.
    """
    if person == absence.helper:
        return Route(bool(step) or got_it, step)
    is_urgent = limit is not None and limit.priority == "high"
    return Route(True, held_until_ms=None if is_urgent and step in ("", KEEP_OUT_STEP, CALL_STEP) else absence.over_ms)
