"""A racking that was begun and not finished, as people read it in one line, and as an object for programs."""

from __future__ import annotations

__all__ = ["racking_json", "racking_line"]

from zoneinfo import ZoneInfo

from alerts.view.format import age, local_time
from ingest.journal.open_rackings import LONGEST_RACKING_MS, OpenRacking
from ingest.times import iso_utc


def racking_line(racking: OpenRacking, zone: ZoneInfo, now_ms: int) -> str:
    """What was begun and when, what that does to alarms, and what to do."""
    end_ms = racking.at_ms + LONGEST_RACKING_MS
    begun = f"{racking.name}, begun {age(now_ms - racking.at_ms)} ago by {racking.who}, is not finished"
    if racking.lasts(now_ms):
        return f"{begun}: low pressure raises no alarm until then, at most until {local_time(end_ms, zone, now_ms)}"
    return (
        f"{begun}: low pressure is watched again since {local_time(end_ms, zone, now_ms)}; write down what came of it, "
        f"or strike no. {racking.entry} if nothing did"
    )


def racking_json(racking: OpenRacking) -> dict[str, object]:
    """The same as an object. low_pressure_quiet_until: when its vessels' limits on low pressure speak again."""
    return {
        "entry": racking.entry,
        "at": iso_utc(racking.at_ms),
        "who": racking.who,
        "from": list(racking.sources),
        "vessels": list(racking.vessels),
        "low_pressure_quiet_until": iso_utc(racking.at_ms + LONGEST_RACKING_MS),
    }
