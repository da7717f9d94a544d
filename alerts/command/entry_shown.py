"""An entry as the command shows it: a line for people, an object for programs."""

from __future__ import annotations

__all__ = ["entry_json", "entry_lines", "heading"]

import json
from zoneinfo import ZoneInfo

from alerts.page.shown import local_time
from ingest.journal.bodies import body_data
from ingest.journal.entry import Draft, Entry, places_of
from ingest.journal.wording import body_words
from ingest.times import iso_utc


def heading(draft: Draft, zone: ZoneInfo, now_ms: int) -> str:
    """Kind, place or lot, when it happened, and who did it."""
    where = draft.place or ", ".join(places_of(None, draft.body)) or draft.lot
    at = f" at {where}" if where else ""
    return f"{draft.kind}{at}, {local_time(draft.at_ms, zone, now_ms)}, by {draft.who}"


def entry_lines(entry: Entry, zone: ZoneInfo, now_ms: int) -> list[str]:
    """An entry in one line, with its warnings; a struck one says so and why in front."""
    where = entry.place or ", ".join(places_of(None, entry.body)) or entry.lot or ""
    remark = getattr(entry.body, "remark", None)
    said = body_words(entry.body, entry.lot) + (f" ({remark})" if remark else "")
    about = f"{entry.kind} {where}".rstrip()
    line = f"{entry.id:5}  {local_time(entry.at_ms, zone, now_ms)}  {about}: {said}, {entry.who}"
    if entry.struck is None:
        return [line]
    struck = entry.struck
    return [f"struck: {line}", f"       by {struck.who}, {local_time(struck.at_ms, zone, now_ms)}: {struck.reason}"]


def entry_json(entry: Entry) -> dict[str, object]:
    """An entry as an object; the body has its amounts in the unit that its keys end in."""
    struck = entry.struck
    return {
        "id": entry.id,
        "kind": entry.kind,
        "at": iso_utc(entry.at_ms),
        "written": iso_utc(entry.written_ms),
        "who": entry.who,
        "place": entry.place,
        "lot": entry.lot,
        "body": json.loads(body_data(entry.body)),
        "said": body_words(entry.body, entry.lot),
        "struck": None if struck is None else {"at": iso_utc(struck.at_ms), "who": struck.who, "reason": struck.reason},
    }
