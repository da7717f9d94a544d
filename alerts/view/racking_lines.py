"""A racking that was begun and not finished: a line for people, an object for programs."""

from __future__ import annotations

__all__ = ["racking_json", "racking_line"]

from datetime import tzinfo

from alerts.view.format import age, local_time
from ingest.journal.open_rackings import LONGEST_RACKING_MS, OpenRacking
from ingest.times import iso_utc


def racking_line(racking: OpenRacking, zone: tzinfo, now_ms: int) -> str:
    """Say what was begun and when, what that does to alarms, and what to do."""
    end = local_time(racking.at_ms + LONGEST_RACKING_MS, zone, now_ms)
    begin = f"{racking.name}, begun {age(now_ms - racking.at_ms)} ago by {racking.who}, is not finished"
    if racking.lasts(now_ms):
        return f"{begin}: low pressure raises no alarm until it is, at most until {end}"
    return (
        f"{begin}: low pressure is watched again since {end}; write down what came of it, "
        f"or strike no. {racking.entry} if nothing did"
    )


def racking_json(racking: OpenRacking) -> dict[str, object]:
    """Give the same as an object. low_pressure_quiet_until: when its vessels' low pressure is watched again."""
    return {
        "entry": racking.entry,
        "at": iso_utc(racking.at_ms),
        "who": racking.who,
        "from": list(racking.sources),
        "vessels": list(racking.vessels),
        "low_pressure_quiet_until": iso_utc(racking.at_ms + LONGEST_RACKING_MS),
    }
