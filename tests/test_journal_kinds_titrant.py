"""Which bottles of titrant there were at a time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from journal_entries import an_entry

from ingest.journal.entry import Entry, Strike
from ingest.journal.titrant_bottles import bottles_at

_DAY = 86_400_000


def _bottle(id: int, day: float, number: float = 0.02, **more: Any) -> Entry:
    strength = {"number": number, "meaning": "normality"}
    said = {"name": "iodine 3", "substance": "iodine", "strength": strength, **more}
    return an_entry(id, "titrant", round(day * _DAY), **said)


def test_a_bottle_is_there_from_its_first_entry_on_as_last_written_down() -> None:
    entries = [_bottle(1, 10), _bottle(2, 20, 0.0196), _bottle(3, 30, name="iodine 4")]
    before = bottles_at(entries, 10 * _DAY - 1)
    assert (dict(before.there), dict(before.later)) == ({}, {"iodine 3": 10 * _DAY, "iodine 4": 30 * _DAY})
    first = bottles_at(entries, 10 * _DAY)
    assert first.there["iodine 3"].strength.number == 0.02
    assert list(first.later) == ["iodine 4"]
    assert bottles_at(entries, 20 * _DAY).there["iodine 3"].strength.number == 0.0196
    assert not bottles_at(entries, 30 * _DAY).later


def test_when_it_was_opened_counts_where_it_is_told() -> None:
    entries = [_bottle(1, 10, opened_ms=5 * _DAY + _DAY // 2)]
    assert list(bottles_at(entries, 5 * _DAY).there) == ["iodine 3"], "a day without a time is its noon"
    assert list(bottles_at(entries, 5 * _DAY - 1).later) == ["iodine 3"]


def test_what_was_struck_is_not_there() -> None:
    struck = replace(_bottle(1, 10), struck=Strike(11 * _DAY, "Ana", "spilt"))
    assert bottles_at([struck], 12 * _DAY) == ({}, {})
