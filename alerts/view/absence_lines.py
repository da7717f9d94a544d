"""When the owner is away, and who gets the messages: a line for people, an object for programs."""

from __future__ import annotations

__all__ = ["absence_json", "absence_line"]

from datetime import tzinfo

from alerts.view.format import local_time
from ingest.store.alarms.absences import Absence
from ingest.times import iso_utc


def absence_line(absence: Absence, zone: tzinfo, now_ms: int) -> str:
    """Say until when the owner is away, and who gets the messages."""
    return f"away until {local_time(absence.over_ms, zone, now_ms)}: {absence.helper} gets the messages"


def absence_json(absence: Absence) -> dict[str, object]:
    """Give the same as an object."""
    return {
        "from": iso_utc(absence.from_ms),
        "until": iso_utc(absence.over_ms),
        "helper": absence.helper,
        "written_by": absence.who,
    }
