"""The alarms that are open at the vessels, the wine, the room and the cylinders."""

from __future__ import annotations

__all__ = ["alarms_section"]

from typing import Final

from alerts.review.section import ReviewSection, ReviewVerdict
from alerts.review.vessel_facts import VesselFacts
from alerts.view.format import counted
from alerts.watch.alarm_table import State

# Work that is due has its own section.
_DUE: Final = "due"


def alarms_section(facts: VesselFacts) -> ReviewSection:
    """Judge what stands in alarm; a vessel under too much pressure is not to be opened."""
    alarms = [alarm for alarm in facts.alarms if alarm.limit is None or alarm.limit.kind != _DUE]
    standing = [alarm for alarm in alarms if alarm.state != str(State.RETURNED)]
    numbers: dict[str, object] = {
        "alarms": [
            {"alarm": alarm.occurrence, "limit": alarm.key, "at": alarm.at, "state": alarm.state} for alarm in alarms
        ]
    }
    lines = tuple(facts.alarm_lines[alarm.key] for alarm in alarms)
    over = [alarm for alarm in standing if alarm.limit is not None and alarm.limit.role == "over"]
    if over:
        places = " and ".join(dict.fromkeys(alarm.at for alarm in over))
        reason = f"There is too much pressure in {places}: close the supply, air the room, and let it off slowly first."
        return ReviewSection("alarms", "Open alarms", ReviewVerdict.DO_NOT, reason, lines, numbers)
    if standing:
        reason = f"{counted(len(standing), 'alarm stands', 'alarms stand')}: see to what they say before you begin."
        return ReviewSection("alarms", "Open alarms", ReviewVerdict.TAKE_CARE, reason, lines, numbers)
    if alarms:
        reason = "No alarm stands; what has returned to normal waits for somebody to acknowledge it."
        return ReviewSection("alarms", "Open alarms", ReviewVerdict.IN_ORDER, reason, lines, numbers)
    return ReviewSection("alarms", "Open alarms", ReviewVerdict.IN_ORDER, "No alarm is open.", lines, numbers)
