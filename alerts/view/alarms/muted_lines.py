"""A limit that a person has muted, for a time or until further notice: a line for people, an object for programs."""

from __future__ import annotations

__all__ = ["mute_text", "muted_json", "muted_line"]

from datetime import tzinfo

from alerts.view.format import local_time
from alerts.view.status import MutedStatus
from alerts.watch.alarm import AlarmState
from ingest.times import iso_utc, iso_utc_known


def mute_text(alarm: AlarmState, zone: tzinfo, now_ms: int) -> str:
    """Say until when it is muted, by whom and why; "" where no person has muted it."""
    parts = []
    if alarm.out_of_service is not None:
        out = alarm.out_of_service
        parts.append(f"out of service since {local_time(out.at_ms, zone, now_ms)}, by {out.by}: {out.why}")
    if alarm.shelving is not None:
        shelving = alarm.shelving
        parts.append(f"muted until {local_time(shelving.until_ms, zone, now_ms)}, by {shelving.by}: {shelving.why}")
    if parts and alarm.suppressed and alarm.suppressed_because:
        parts.append(f"also muted: {alarm.suppressed_because}")
    return "; ".join(parts)


def muted_line(muted: MutedStatus, zone: tzinfo, now_ms: int) -> str:
    """One muted limit in one line: its key, until when, by whom, why, and whether it would alarm now."""
    line = f"{muted.key}: {mute_text(muted.alarm, zone, now_ms)}"
    if not muted.active:
        return line
    since = "" if muted.since_ms is None else f" since {local_time(muted.since_ms, zone, now_ms)}"
    return f"{line} (its condition is true{since})"


def muted_json(muted: MutedStatus) -> dict[str, object]:
    """Give the same as an object. shelved and out_of_service: None where it is not so."""
    shelving, out = muted.alarm.shelving, muted.alarm.out_of_service
    return {
        "limit": muted.key,
        "state": str(muted.alarm.state),
        "at": muted.at,
        "quantity": muted.limit.quantity if muted.limit else None,
        "kind": muted.limit.kind if muted.limit else None,
        "priority": muted.limit.priority if muted.limit else None,
        "alarm": muted.alarm.occurrence,
        "active": muted.active,
        "since": iso_utc_known(muted.since_ms),
        "shelved": None
        if shelving is None
        else {
            "since": iso_utc(shelving.at_ms),
            "until": iso_utc(shelving.until_ms),
            "who": shelving.by,
            "why": shelving.why,
        },
        "out_of_service": None if out is None else {"since": iso_utc(out.at_ms), "who": out.by, "why": out.why},
        "suppressed_because": muted.alarm.suppressed_because or None,
    }
