"""Entries and alarms on the time axis of a history."""

from __future__ import annotations

__all__ = ["MOST_ENTRIES", "alarm_marks", "entry_marks"]

from collections.abc import Mapping
from typing import Final

from alerts.view.alarms.alarm_lines import alarm_setpoint, alarm_value
from alerts.view.format import days_text, duration_text, measured_name, missing_words
from alerts.view.history.answer import AlarmMark, EntryMark
from alerts.view.history.limits import PlacedLimit
from alerts.view.history.subject import HistorySubject
from ingest.cellar import EffectiveLimit
from ingest.journal.entry import kind_words
from ingest.journal.kinds import body_words, spread_words
from ingest.plain_text import one_line
from ingest.store import Store
from ingest.store.alarms.alarm_record import OccurrenceRow, occurrences
from ingest.store.journal.entries import entries

MOST_ENTRIES: Final = 1000
_MOST_WORDS: Final = 240


def entry_marks(store: Store, subject: HistorySubject, from_ms: int, to_ms: int) -> tuple[list[EntryMark], bool]:
    """Read the entries of a span [UTC ms] that hold, oldest first, and whether there are earlier ones beyond the bound.

    Call inside ``store.read()``.
    """
    of_place, of_lot = (None, subject.id) if subject.is_lot else (subject.id, None)
    chosen = entries(
        store, vessel=of_place, lot=of_lot, from_ms=from_ms, to_ms=to_ms, struck=False, newest=MOST_ENTRIES + 1
    )
    marks = []
    for entry in chosen[-MOST_ENTRIES:]:
        spread, remark = spread_words(entry.body), getattr(entry.body, "remark", None)
        words = body_words(entry.body, entry.lot) + "".join(f" ({more})" for more in (spread, remark) if more)
        marks.append(
            EntryMark(
                entry.id,
                entry.at_ms,
                kind_words(entry.kind),
                entry.where,
                one_line(words, _MOST_WORDS),
                one_line(entry.who, _MOST_WORDS),
            )
        )
    return marks, len(chosen) > MOST_ENTRIES


def alarm_marks(
    store: Store,
    subject: HistorySubject,
    limits: Mapping[str, PlacedLimit],
    from_ms: int,
    to_ms: int,
    units: str,
) -> list[AlarmMark]:
    """Read the alarms that lasted at any time of a span [UTC ms]; limits: those that are and were, by key.

    Of a lot, the alarms on its vessels while it was in them. Call inside ``store.read()``.
    """
    vessels = set(subject.vessels)
    chosen = {
        key: placed
        for key, placed in limits.items()
        if placed.place in vessels or (subject.is_lot and placed.limit.lot == subject.id)
    }
    marks = []
    for row in occurrences(store, chosen, from_ms, to_ms):
        limit, place = chosen[row.key]
        if subject.is_lot and limit.lot != subject.id:
            ended_ms = to_ms if row.ended_ms is None else row.ended_ms
            if not subject.times_in(place, row.began_ms, max(ended_ms, row.began_ms + 1)):
                continue
        marks.append(
            AlarmMark(
                row.occurrence,
                row.key,
                row.began_ms,
                row.ended_ms,
                limit.quantity,
                limit.priority,
                _alarm_words(row, limit, units),
            )
        )
    return marks


def _alarm_words(row: OccurrenceRow, limit: EffectiveLimit, units: str) -> str:
    """Say what was wrong: place and quantity, with the value that raised it and the setpoint."""
    subject = f"{limit.at or limit.lot} {measured_name(limit)}".strip()
    if limit.kind == "no data":
        silent = "" if row.value is None else f" for {duration_text(row.value)}"
        return f"{subject} {missing_words(limit)}{silent}"
    if limit.kind == "due":
        return f"{subject} due" + ("" if row.value is None else f", after {days_text(row.value)}")
    value = "" if row.value is None else f" {alarm_value(limit, row.value, units)}"
    return f"{subject}{value}, {alarm_setpoint(limit, units)}"
