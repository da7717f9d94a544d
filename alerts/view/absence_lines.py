"""When the owner is away, and who gets the messages: a line for people, an object for programs."""

from __future__ import annotations

__all__ = ["absence_json", "absence_line", "stands_in"]

from alerts.view.format import local_time
from ingest.cellar import Cellar
from ingest.store.alarms.absences import Absence
from ingest.times import iso_utc


def stands_in(absence: Absence, cellar: Cellar) -> bool:
    """Say whether the absence counts: the cellar file has the helper, and somebody else for what a helper cannot do.

    Otherwise messages go to everybody as usual, so that none is lost when the cellar file changes meanwhile.
    """
    is_known = any(each.person == absence.helper for each in cellar.recipients)
    return is_known and any(each.person != absence.helper and "high" in each.priorities for each in cellar.recipients)


def absence_line(absence: Absence, cellar: Cellar, now_ms: int) -> str:
    """Say until when the owner is away, and who gets the messages."""
    head = f"away until {local_time(absence.over_ms, cellar.site.zone, now_ms)}: "
    if stands_in(absence, cellar):
        return f"{head}{absence.helper} gets the messages"
    if any(each.person == absence.helper for each in cellar.recipients):
        why = f"nobody but {absence.helper} gets alarms of high priority"
    else:
        why = f"the helper {absence.helper} is no longer in the cellar file"
    return f"{head}{why}, so messages go to everybody as usual"


def absence_json(absence: Absence) -> dict[str, object]:
    """Give the same as an object."""
    return {
        "from": iso_utc(absence.from_ms),
        "until": iso_utc(absence.over_ms),
        "helper": absence.helper,
        "written_by": absence.who,
    }
