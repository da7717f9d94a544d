"""What people asked for about alarms waits for the next turn."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_store import NOW, new_store

from ingest.errors import TextRefused
from ingest.operator_event import OperatorEvent, OperatorEventKind, OperatorRequest
from ingest.store.alarms.operator_events import append_event, append_events, mark_applied, outcome_of, waiting_events


def test_an_event_waits_until_a_turn_says_what_came_of_it(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        first = append_event(store, "acknowledge", "a2b", "Ana", "lid reseated", NOW)
        second = append_event(store, "acknowledge", "a2c", "", "", NOW + 1)
        assert waiting_events(store) == [
            OperatorEvent(first, NOW, "acknowledge", "a2b", "Ana", "lid reseated"),
            OperatorEvent(second, NOW + 1, "acknowledge", "a2c", "", ""),
        ]
        assert outcome_of(store, first) is None
        with store.write() as connection:
            mark_applied(connection, first, "acknowledged", NOW + 2)
        assert outcome_of(store, first) == "acknowledged"
        assert [event.id for event in waiting_events(store)] == [second]
        assert outcome_of(store, second) is None
        assert outcome_of(store, 99) is None
        kept = store.connection.execute("SELECT applied_ms, outcome FROM operator_event ORDER BY id").fetchall()
        assert kept == [(NOW + 2, "acknowledged"), (None, None)]


def test_a_shelving_keeps_its_span_beside_its_reason(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        asked = OperatorRequest(OperatorEventKind.SHELVE, "K1/pressure/air", 'lid "off"', 7200.0)
        unshelve = OperatorRequest(OperatorEventKind.UNSHELVE, "K1/pressure/air", "done")
        first, second = append_events(store, [asked, unshelve], "Ana", NOW)
        assert waiting_events(store) == [
            OperatorEvent(first, NOW, "shelve", "K1/pressure/air", "Ana", 'lid "off"', 7200.0),
            OperatorEvent(second, NOW, "unshelve", "K1/pressure/air", "Ana", "done"),
        ]


@pytest.mark.parametrize("note", ["lid off", "{}", "[1]", '{"why": "lid off", "for_s": "long"}', '{"why": "lid off"}'])
def test_a_shelving_whose_note_is_not_ours_has_no_span(tmp_path: Path, note: str) -> None:
    with new_store(tmp_path) as store:
        append_event(store, "shelve", "a2b", "Ana", "", NOW)
        with store.write() as connection:
            connection.execute("UPDATE operator_event SET note = ?", (note,))
        assert waiting_events(store) == [OperatorEvent(1, NOW, "shelve", "a2b", "Ana", note)]


def test_of_several_events_all_are_written_or_none(tmp_path: Path) -> None:
    requests = [OperatorRequest("acknowledge", "a2b"), OperatorRequest("acknowledge", "a2c", "a\nb")]
    with new_store(tmp_path) as store:
        with pytest.raises(TextRefused, match="note: must be one line"):
            append_events(store, requests, "Ana", NOW)
        assert waiting_events(store) == []
