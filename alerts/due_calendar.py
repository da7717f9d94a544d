"""Work that falls due as an iCalendar (RFC 5545), for a file or for a feed that a phone's calendar subscribes to.

Each work is one event, of its own UID for ever: when it was done, the same event moves to the next time it falls due.
Events are of whole days, which have no time zone and no clock change: the day is the one in the cellar's zone. What is
overdue reaches from the day it fell due until today, so that a calendar shows it where people look.
"""

from __future__ import annotations

__all__ = ["due_calendar"]

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Final
from uuid import NAMESPACE_URL, uuid5

from icalendar import Calendar, Event
from icalendar.prop import vDuration

from alerts.view.due_lines import day_text, due_task, due_text
from alerts.watch.due import DueLimit
from ingest.plain_text import one_line

# How often a subscribed calendar asks again: RFC 7986 section 5.7, and the older name that many programs read.
_REFRESH: Final = timedelta(hours=6)
_PRODUCT: Final = "-//leeside//due work//EN"
_MINUTE_MS: Final = 60_000


def due_calendar(due: Iterable[DueLimit], site: str, zone: tzinfo, now_ms: int, page: str = "") -> bytes:
    """Write a calendar of work as it falls due next. zone: of the days; now_ms: UTC milliseconds; page: its address."""
    calendar = Calendar()
    calendar.add("PRODID", _PRODUCT)
    calendar.add("VERSION", "2.0")
    calendar.add("CALSCALE", "GREGORIAN")
    calendar.add("METHOD", "PUBLISH")
    name = one_line(f"{site}: work due")
    calendar.add("NAME", name)
    calendar.add("X-WR-CALNAME", name)
    calendar.add("REFRESH-INTERVAL", vDuration(_REFRESH), parameters={"VALUE": "DURATION"})
    calendar.add("X-PUBLISHED-TTL", vDuration(_REFRESH))
    for each in sorted(due, key=lambda each: (each.fact.due_ms, each.limit.key)):
        calendar.add_component(_event(each, site, zone, now_ms, page))
    return bytes(calendar.to_ical())


def _event(due: DueLimit, site: str, zone: tzinfo, now_ms: int, page: str) -> Event:
    limit, fact = due
    begin, today = _day(fact.due_ms, zone), _day(now_ms, zone)
    is_due = fact.due_ms <= now_ms
    event = Event()
    event.add("UID", str(uuid5(NAMESPACE_URL, f"leeside:{site}/{limit.key}")))
    event.add("DTSTAMP", _second(now_ms))
    event.add("LAST-MODIFIED", _second(max(fact.from_ms, 0)))
    event.add("SEQUENCE", max(fact.from_ms, 0) // _MINUTE_MS)
    event.add("DTSTART", begin)
    event.add("DTEND", (max(begin, today) if is_due else begin) + timedelta(days=1))
    task = one_line(due_task(limit))
    event.add("SUMMARY", f"{task} (due since {day_text(fact.due_ms, zone, now_ms)})" if is_due else task)
    event.add("DESCRIPTION", "\n".join(_description(due, zone, now_ms)))
    if limit.at:
        event.add("LOCATION", one_line(limit.at))
    if page:
        event.add("URL", page)
    event.add("TRANSP", "TRANSPARENT")  # it takes nobody's time away
    return event


def _description(due: DueLimit, zone: tzinfo, now_ms: int) -> list[str]:
    limit, fact = due
    done = f"{fact.finding} {day_text(fact.from_ms, zone, now_ms)}" if fact.finding else ""
    if fact.due_ms <= now_ms:
        done = due_text(limit, fact.due_ms, fact.finding, zone, now_ms)
    return [
        one_line(line) for line in (done, f"What to do: {limit.action}", f"If ignored: {limit.consequence}") if line
    ]


def _day(at_ms: int, zone: tzinfo) -> date:
    return datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone).date()


def _second(at_ms: int) -> datetime:
    return datetime.fromtimestamp(at_ms // 1000, UTC)
