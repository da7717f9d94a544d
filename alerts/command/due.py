"""`leeside due`: work that is due and work that comes next, also as a calendar."""

from __future__ import annotations

__all__ = ["due"]

import os
import sys
import tempfile
from datetime import tzinfo
from pathlib import Path
from typing import Annotated, Final

import typer

from alerts.calendar_feed import feed_address
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json
from alerts.command.terminal import print_plain
from alerts.due_calendar import due_calendar
from alerts.errors import AlertsError
from alerts.limits.due_feed import due_limits_at
from alerts.view.due_lines import day_text, due_name, due_task, due_text
from alerts.watch.due import DueLimit
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.times import iso_utc

EXAMPLE: Final = "leeside due cellar.toml --ical due.ics"


def due(
    file: File,
    ical: Annotated[
        str | None,
        typer.Option("--ical", metavar="PATH", help="Write it as a calendar (iCalendar) to this file; - prints it."),
    ] = None,
    feed: Annotated[
        bool,
        typer.Option("--feed", help="Print the address under which a phone's calendar can follow it."),
    ] = False,
    as_json: Json = False,
) -> int:
    """List the work that is due, longest overdue first, then what falls due next.

    Exit code 1 while something is due.
    """
    if sum((ical is not None, feed, as_json)) > 1:
        raise typer.BadParameter("choose one of --ical, --feed and --json")
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store):
        if feed:
            print_plain(feed_address(cellar))
            return 0
        with store.read() as connection:
            found = due_limits_at(cellar, connection, now_ms)
    works = sorted(found.values(), key=lambda each: (each.fact.due_ms, each.limit.key))
    zone = cellar.site.zone
    if ical is not None:
        page = (cellar.page.url or "") if cellar.page else ""
        _write(ical, due_calendar(works, cellar.site.name, zone, now_ms, page))
        return 0
    if as_json:
        print(json_text({"due": [_object(each, now_ms) for each in works]}, indent=2))
    else:
        for each in works:
            print_plain(_line(each, zone, now_ms))
        if not works:
            print_plain("No work is awaited: the journal says nothing that falls due.")
    return 1 if any(each.fact.due_ms <= now_ms for each in works) else 0


def _line(work: DueLimit, zone: tzinfo, now_ms: int) -> str:
    limit, fact = work
    if fact.due_ms <= now_ms:
        return f"due   {due_text(limit, fact.due_ms, fact.finding, zone, now_ms)}"
    done = f": {fact.finding} {day_text(fact.from_ms, zone, now_ms)}" if fact.finding else ""
    return f"      {due_name(limit)} on {day_text(fact.due_ms, zone, now_ms)}{done}"


def _object(work: DueLimit, now_ms: int) -> dict[str, object]:
    limit, fact = work
    return {
        "limit": limit.key,
        "work": limit.quantity,
        "task": due_task(limit),
        "at": limit.at or None,
        "lot": limit.lot or None,
        "due": iso_utc(fact.due_ms),
        "is_due": fact.due_ms <= now_ms,
        "counted_from": iso_utc(fact.from_ms),
        "after_days": limit.setpoint,
    }


def _write(path: str, calendar: bytes) -> None:
    """Write the file whole or not at all: a calendar program may read it at any moment."""
    if path == "-":
        sys.stdout.buffer.write(calendar)
        return
    target = Path(path)
    try:
        descriptor, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        with os.fdopen(descriptor, "wb") as out:
            out.write(calendar)
        Path(name).chmod(0o644)
        Path(name).replace(target)
    except OSError as error:
        raise AlertsError(f"the calendar cannot be written to {path}: {error.strerror}") from error
