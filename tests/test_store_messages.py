"""The outbox: what waits, when it is due, what became of it."""

from __future__ import annotations

from typing import Any

import pytest
from a_store import NOW

from ingest.errors import StoreError
from ingest.store import Store
from ingest.store.alarms.alarm_record import TransitionRow, add_transition
from ingest.store.alarms.messages import (
    LONGEST_TRY_MS,
    NewMessage,
    add_message,
    begin_try,
    cancel_waiting,
    count_waiting,
    due_messages,
    mark_failed,
    mark_gave_up,
    mark_sent,
    recent_messages,
    thread_of,
    undelivered,
    unsent_raise,
)

HOUR = 3_600_000


def _post(store: Store, name: str, **changes: Any) -> int:
    settings: dict[str, Any] = {
        "message_id": f"<{name}@cellar.example>",
        "thread_id": None,
        "occurrence": "a2b",
        "occasion": "raised",
        "channel": "mail",
        "recipient": "ana@cellar.example",
        "subject": f"about {name}",
        "body": "K1 pressure 3.5 kPa\n",
        "created_ms": NOW,
        "not_before_ms": NOW,
        **changes,
    }
    with store.write() as connection:
        return add_message(connection, NewMessage(**settings))


def _due(store: Store, now_ms: int, limit: int = 50) -> list[int]:
    return [row.id for row in due_messages(store, now_ms, limit)]


def test_a_message_comes_out_as_it_went_in(store: Store) -> None:
    number = _post(store, "low", thread_id="<first@cellar.example>", subject="K1 tlak: žlahtno", not_before_ms=NOW)
    (row,) = due_messages(store, NOW)
    assert (row.id, row.message_id, row.thread_id) == (number, "<low@cellar.example>", "<first@cellar.example>")
    assert (row.subject, row.body, row.recipient) == ("K1 tlak: žlahtno", "K1 pressure 3.5 kPa\n", "ana@cellar.example")
    assert (row.state, row.attempts, row.last_error, row.ended_ms, row.closed_ms) == ("waiting", 0, None, None, None)


def test_one_message_id_is_one_message(store: Store) -> None:
    _post(store, "low")
    with pytest.raises(StoreError, match="UNIQUE"):
        _post(store, "low")
    assert count_waiting(store) == 1


def test_what_has_waited_longest_goes_first(store: Store) -> None:
    late = _post(store, "late", occurrence="a2c", created_ms=NOW, not_before_ms=NOW + HOUR)
    later = _post(store, "later", occurrence="a2d", created_ms=NOW + 2, not_before_ms=NOW + 2)
    first = _post(store, "first", created_ms=NOW + 1, not_before_ms=NOW + 1)
    assert _due(store, NOW + 5) == [first, later]
    assert _due(store, NOW + 5, limit=1) == [first]
    assert _due(store, NOW + HOUR - 1) == [first, later]
    assert _due(store, NOW + HOUR) == [first, later, late]


def test_a_failed_try_waits_for_the_next(store: Store) -> None:
    number = _post(store, "low")
    assert begin_try(store, number)
    mark_failed(store, number, "connection refused", NOW + 60_000)
    assert _due(store, NOW + 59_999) == []
    assert _due(store, NOW + 60_000) == [number]
    (row,) = recent_messages(store)
    assert (row.state, row.attempts, row.last_error) == ("waiting", 1, "connection refused")


def test_a_clock_that_was_set_back_holds_nothing_up(store: Store) -> None:
    fresh = _post(store, "fresh")
    tried = _post(store, "tried", occurrence="a2c")
    begin_try(store, tried)
    mark_failed(store, tried, "refused", NOW + 60_000)
    night = _post(store, "night", occurrence="a2d", not_before_ms=NOW + HOUR)
    assert _due(store, NOW - 2 * HOUR) == [fresh, tried]
    assert _due(store, NOW + 60_000 - LONGEST_TRY_MS) == [fresh]
    assert night in _due(store, NOW + HOUR)


def test_what_ended_is_not_sent_again_and_stays_readable(store: Store) -> None:
    sent, given_up, cancelled = (_post(store, name, occurrence=name) for name in ("sent", "gave-up", "cancelled"))
    assert [begin_try(store, number) for number in (sent, given_up)] == [True, True]
    mark_sent(store, sent, NOW + 1)
    mark_gave_up(store, given_up, NOW + 2, "no such mailbox")
    with store.write() as connection:
        cancel_waiting(connection, cancelled, NOW + 3, "it ended before it was sent")
        cancel_waiting(connection, sent, NOW + 4, "too late")
    assert not begin_try(store, cancelled), "what was taken back is not sent"
    assert _due(store, NOW + 100 * HOUR) == []
    assert count_waiting(store) == 0
    assert [(row.state, row.attempts, row.ended_ms, row.last_error) for row in recent_messages(store)] == [
        ("cancelled", 0, NOW + 3, "it ended before it was sent"),
        ("gave up", 1, NOW + 2, "no such mailbox"),
        ("sent", 1, NOW + 1, None),
    ]
    assert [row.id for row in recent_messages(store, 1)] == [cancelled]


def test_a_raise_that_nobody_tried_to_send_can_be_taken_back(store: Store) -> None:
    number = _post(store, "low")
    _post(store, "back", occasion="returned")
    _post(store, "other", occurrence="a2c")
    with store.read() as connection:
        raised = unsent_raise(connection, "a2b", "ana@cellar.example")
        assert raised is not None
        assert raised.id == number
        assert unsent_raise(connection, "a2b", "someone@cellar.example") is None
    begin_try(store, number)
    with store.read() as connection:
        assert unsent_raise(connection, "a2b", "ana@cellar.example") is None, "it may have arrived"
    mark_gave_up(store, number, NOW, "550 no")
    with store.read() as connection:
        assert unsent_raise(connection, "a2b", "ana@cellar.example") == recent_messages(store)[-1]
    mark_sent(store, number, NOW)
    with store.read() as connection:
        assert unsent_raise(connection, "a2b", "ana@cellar.example") is None


def test_what_follows_up_waits_for_what_was_written_before_it_to_the_same_person(store: Store) -> None:
    raised = _post(store, "several", occurrence="a2b a2c a2d")
    back = _post(store, "back", occurrence="a2c", occasion="returned")
    news = _post(store, "news", occurrence="a2b a2e", occasion="returned")
    other = _post(store, "other", occurrence="a2f")
    to_ben = _post(store, "to-ben", occurrence="a2c", recipient="ben@cellar.example")
    begin_try(store, raised)
    mark_failed(store, raised, "connection refused", NOW + 60_000)
    assert _due(store, NOW) == [other, to_ben]
    assert _due(store, NOW + 60_000) == [other, to_ben, raised]
    mark_sent(store, raised, NOW + 60_000)
    assert _due(store, NOW + 60_000, limit=2) == [back, news]


def test_an_all_clear_is_not_sent_when_its_alarm_was_given_up(store: Store) -> None:
    raised = _post(store, "low")
    back = _post(store, "back", occasion="returned")
    to_ben = _post(store, "to-ben", occasion="returned", recipient="ben@cellar.example")
    mark_gave_up(store, raised, NOW, "550 no such user")
    assert _due(store, NOW) == [to_ben]
    assert next(row for row in recent_messages(store) if row.id == back).state == "cancelled"


def test_what_could_not_be_sent_is_summed_up(store: Store) -> None:
    assert undelivered(store, NOW) is None
    first, second = _post(store, "first"), _post(store, "second", occurrence="a2c")
    assert undelivered(store, NOW) is None
    for number in (second, first):
        begin_try(store, number)
        mark_failed(store, number, f"550 {number}", NOW + 60_000)
    assert undelivered(store, NOW) == (2, NOW, 1, f"550 {first}", "mail")
    mark_sent(store, first, NOW)
    mark_gave_up(store, second, NOW, "550 never")
    assert undelivered(store, NOW + 23 * HOUR) == (1, NOW, 1, "550 never", "mail")
    assert undelivered(store, NOW + 24 * HOUR) is None


def test_a_thread_begins_with_what_went_out_or_will(store: Store) -> None:
    first = _post(store, "first")
    _post(store, "second", occasion="returned")
    with store.write() as connection:
        assert thread_of(connection, "a2b", "ana@cellar.example") == ("<first@cellar.example>", "about first")
        cancel_waiting(connection, first, NOW, "not needed")
        assert thread_of(connection, "a2b", "ana@cellar.example") == ("<second@cellar.example>", "about second")
        assert thread_of(connection, "none", "ana@cellar.example") is None


def test_a_message_knows_when_its_occurrence_closed(store: Store) -> None:
    _post(store, "low")
    steps = [("normal", "unacknowledged"), ("unacknowledged", "returned"), ("returned", "normal")]
    for number, (old, new) in enumerate(steps):
        with store.write() as connection:
            add_transition(connection, TransitionRow(NOW + number, "k", "a2b", "e", old, new, None, "", ""))
        (row,) = recent_messages(store)
        assert row.closed_ms == (NOW + 2 if new == "normal" else None)
    for closed_ms, occurrences in [(None, "a2b a2c"), (NOW + 2, "a2b a2b")]:
        _post(store, occurrences, occurrence=occurrences)
        assert recent_messages(store)[0].closed_ms == closed_ms, "the last of several counts"
