"""What people asked for about alarms waits for the next turn."""

from __future__ import annotations

from pathlib import Path

from a_store import NOW, new_store

from ingest.operator_event import OperatorEvent
from ingest.store.alarms.operator_events import append_event, mark_applied, outcome_of, waiting_events


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
