"""An entry of the journal: lines for people, an object for programs."""

from __future__ import annotations

__all__ = ["entry_heading", "entry_json", "entry_line", "entry_lines"]

from datetime import tzinfo

from alerts.view.format import local_time
from ingest.exchange.entry_lines import entry_object
from ingest.journal.entry import Draft, Entry, kind_words
from ingest.journal.kinds import body_words, spread_words


def entry_heading(draft: Draft, zone: tzinfo, now_ms: int) -> str:
    """Give kind, place or lot, when it happened, and who did it."""
    at = f" at {draft.where}" if draft.where else ""
    return f"{kind_words(draft.kind)}{at}, {local_time(draft.at_ms, zone, now_ms)}, by {draft.who}"


def entry_line(entry: Entry, zone: tzinfo, now_ms: int) -> str:
    """Give an entry in one line."""
    return f"no. {entry.id}, {local_time(entry.at_ms, zone, now_ms)}, {_said(entry)}"


def _said(entry: Entry) -> str:
    """What kind of entry it is, where, what it says, and who wrote it."""
    remark = getattr(entry.body, "remark", None)
    spread = spread_words(entry.body)
    words = body_words(entry.body, entry.lot) + "".join(f" ({more})" for more in (spread, remark) if more)
    about = f"{kind_words(entry.kind)} {entry.where}".rstrip()
    return f"{about}: {words}, {entry.who}"


def entry_lines(entry: Entry, zone: tzinfo, now_ms: int) -> list[str]:
    """Give an entry in one line, then its warnings and notes; for a struck one, by whom and why as well."""
    line = f"{entry.id:5}  {local_time(entry.at_ms, zone, now_ms)}  {_said(entry)}"
    remarks = [f"       warning: {text}" for text in entry.body.warnings]
    remarks += [f"       note: {text}" for text in entry.body.notes]
    if entry.struck is None:
        return [line, *remarks]
    struck = entry.struck
    why = f"       by {struck.who}, {local_time(struck.at_ms, zone, now_ms)}: {struck.reason}"
    return [f"struck: {line}", *remarks, why]


def entry_json(entry: Entry) -> dict[str, object]:
    """Give an entry as an object: what its exported line has, and what it says in words."""
    return {**entry_object(entry), "said": body_words(entry.body, entry.lot)}
