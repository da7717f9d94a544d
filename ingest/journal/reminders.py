"""What a person should know about an entry by what stands around it: a racking not finished, wine left over. Pure."""

from __future__ import annotations

__all__ = ["left_warnings", "racking_warnings"]

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from ingest.journal.body import Body
from ingest.journal.entry import Draft, places_of
from ingest.journal.ledger import Contents
from ingest.journal.movements import RackingBody
from ingest.journal.open_rackings import OpenRacking
from ingest.journal.vessel_state import liters

# What is left after a racking and is less than this part of the vessel is more likely a difference of two measurements
# than wine (this project's choice).
_LITTLE: Final = 0.05


def racking_warnings(draft: Draft, begun: Sequence[OpenRacking], zone: ZoneInfo) -> tuple[str, ...]:
    """That a vessel of the draft is in a racking that was begun and not finished; begun: newest first."""
    body = draft.body
    finishes = body.begun if isinstance(body, RackingBody) else None
    named = set(places_of(draft.place, body))
    found = []
    for one in begun:
        if one.entry != finishes and one.at_ms <= draft.at_ms and named & set(one.vessels):
            at = datetime.fromtimestamp(one.at_ms / 1000, UTC).astimezone(zone)
            found.append(
                f"{one.name}, begun {at:%Y-%m-%d %H:%M}, is not finished: write down what came of it, or strike "
                f"no. {one.entry} if nothing did"
            )
    return tuple(found)


def left_warnings(body: Body, after: Iterable[Contents]) -> tuple[str, ...]:
    """That a racking would leave so little in a vessel that it may be empty; after: what its vessels hold then."""
    if not isinstance(body, RackingBody) or body.stage == "begun":
        return ()
    held = {one.vessel: one for one in after}
    return tuple(
        f"{liters(left)} would stay in {drawn.vessel}; if it is empty now, say that it was emptied"
        for drawn in body.sources
        if drawn.emptied is None
        and (there := held.get(drawn.vessel)) is not None
        and (left := there.volume_l) is not None
        and there.capacity_l is not None
        and 0.0 < left < _LITTLE * there.capacity_l
    )
