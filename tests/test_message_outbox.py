"""The outbox: what is due goes out, once, and what fails is tried again."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from mail_server import STORED, Inbox, mail_server, route

from alerts.message import MailChannel, Outbox
from alerts.message.outbox import Delivered, DeliveryFailure, gives_up, wait_ms
from ingest.errors import StoreError
from ingest.simulation.loopback import free_port
from ingest.store import Store
from ingest.store.alarms.alarm_record import TransitionRow, add_transition
from ingest.store.alarms.messages import (
    LONGEST_TRY_MS,
    MessageRow,
    NewMessage,
    add_message,
    due_messages,
    recent_messages,
    undelivered,
    unsent_raise,
)

DAY_MS = 86_400_000

Result = Delivered | DeliveryFailure


def put(store: Store, **changes: Any) -> int:
    """A message in the outbox, of the occurrence 7f3k; its id."""
    row = STORED._replace(**changes)
    fields = {name: getattr(row, name) for name in NewMessage._fields}
    with store.write() as connection:
        return add_message(connection, NewMessage(**fields))


def close(store: Store, at_ms: int) -> None:
    """The occurrence of the messages has closed."""
    closed = TransitionRow(at_ms, "K1/low", "7f3k", "condition ended", "acknowledged", "normal", None, "", "")
    with store.write() as connection:
        add_transition(connection, closed)


@dataclass
class Channel:
    """A channel that gives the answers that it holds, then those of ``otherwise``; it notes each try."""

    answers: list[DeliveryFailure] = field(default_factory=list)
    otherwise: Callable[[MessageRow, int], Result] = lambda message, now_ms: Delivered()
    tried: list[tuple[int, int]] = field(default_factory=list)

    def deliver(self, message: MessageRow, now_ms: int) -> Result:
        self.tried.append((message.id, now_ms))
        return self.answers.pop(0) if self.answers else self.otherwise(message, now_ms)


def outbox_of(store: Store, channel: Channel) -> Outbox:
    return Outbox(store, channel.deliver, lambda: 0.5)


def run(store: Store, outbox: Outbox, until_ms: int, from_ms: int = 0) -> int:
    """A turn at each moment at which something falls due; how many went out."""
    count, now_ms = 0, from_ms
    while now_ms <= until_ms:
        count += outbox.work(now_ms)
        row = store.connection.execute("SELECT min(next_try_ms) FROM message WHERE state = 'waiting'").fetchone()
        if row[0] is None:
            break
        now_ms = max(now_ms + 1000, row[0])
    return count


def test_a_mail_server_down_for_ten_minutes_then_up_gets_the_mail_once(store: Store) -> None:
    inbox, port = Inbox(), free_port()
    channel = Channel(otherwise=MailChannel(route(port), lambda: None, UTC).deliver)
    outbox = outbox_of(store, channel)
    put(store)
    assert run(store, outbox, 600_000) == 0
    assert [at_ms for _, at_ms in channel.tried] == [0, 5_000, 20_000, 80_000, 380_000]
    assert recent_messages(store)[0].last_error == f"nothing listens at mail server 127.0.0.1 port {port}"
    with mail_server(inbox, port):
        assert run(store, outbox, 2_000_000, from_ms=600_000) == 1
        assert run(store, outbox, 4_000_000, from_ms=2_000_000) == 0
    assert [mail["Message-ID"] for mail in inbox.mails] == [STORED.message_id]
    sent = recent_messages(store)[0]
    assert (sent.state, sent.ended_ms) == ("sent", 1_280_000)


def test_a_refused_mail_is_tried_again_ever_less_often_and_taken_once_it_is_let_in(store: Store) -> None:
    inbox, port = Inbox(rcpt_answer="550 no such user"), free_port()
    channel = Channel(otherwise=MailChannel(route(port), lambda: None, UTC).deliver)
    outbox = outbox_of(store, channel)
    put(store)
    put(store, message_id="<back@cellar.example>", occasion="returned", subject="BACK TO NORMAL")
    with mail_server(inbox, port):
        assert run(store, outbox, 5 * 3_600_000) == 0
        assert [at_ms // 60_000 for _, at_ms in channel.tried] == [0, 20, 60, 120, 180, 240, 300]
        refused = undelivered(store, 0)
        assert refused is not None
        assert "does not take mail for ana@cellar.example: 550 no such user" in refused.error
        inbox.rcpt_answer = "250 OK"
        assert run(store, outbox, 7 * 3_600_000, from_ms=5 * 3_600_000 + 1000) == 2
    assert [mail["Subject"] for mail in inbox.mails] == [STORED.subject, "BACK TO NORMAL"]


def test_a_refused_mail_is_given_up_a_day_after_its_alarm_closed_and_its_all_clear_with_it(store: Store) -> None:
    put(store)
    put(store, message_id="<back@cellar.example>", occasion="returned")
    close(store, 1000)
    refusing = Channel(otherwise=lambda message, now_ms: DeliveryFailure(True, "550 no"))
    assert run(store, outbox_of(store, refusing), 3 * DAY_MS) == 0
    assert [row.state for row in recent_messages(store)] == ["cancelled", "gave up"]


def test_a_report_that_belongs_to_no_alarm_is_given_up_after_a_day(store: Store) -> None:
    put(store, occurrence=None, occasion="report")
    refusing = Channel(otherwise=lambda message, now_ms: DeliveryFailure(True, "550 no"))
    assert run(store, outbox_of(store, refusing), 3 * DAY_MS) == 0
    (row,) = recent_messages(store)
    assert (row.state, row.last_error) == ("gave up", "it was written more than a day ago; last: 550 no")


def test_what_went_out_and_cannot_be_noted_is_not_sent_again(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    put(store)
    channel = Channel()
    outbox = outbox_of(store, channel)

    def no_room(*_: object) -> None:
        raise StoreError("the disk is full")

    with monkeypatch.context() as full:
        full.setattr("alerts.message.outbox.mark_sent", no_room)
        full.setattr("alerts.message.outbox.begin_try", no_room)
        assert [outbox.work(0), outbox.work(1000)] == [1, 0]
    assert outbox.work(2000) == 0
    assert len(channel.tried) == 1
    (row,) = recent_messages(store)
    assert (row.state, row.ended_ms) == ("sent", 0)


def test_what_is_being_sent_is_not_taken_back(store: Store) -> None:
    """The server takes its time, and meanwhile the alarm is over."""
    number = put(store)

    def over_meanwhile(message: MessageRow, now_ms: int) -> Result:
        with store.read() as connection:
            assert unsent_raise(connection, "7f3k", "ana@cellar.example") is None
        put(store, message_id="<back@cellar.example>", occasion="returned")
        assert due_messages(store, now_ms)[0].id == number
        return Delivered()

    assert Outbox(store, over_meanwhile, lambda: 0.5).work(0) == 1
    assert [row.state for row in recent_messages(store)] == ["waiting", "sent"]


def test_when_a_server_is_back_the_alarm_comes_before_its_all_clear(store: Store) -> None:
    inbox, port = Inbox(), free_port()
    outbox = outbox_of(store, Channel(otherwise=MailChannel(route(port), lambda: None, UTC).deliver))
    put(store, occurrence="7f3k 7f3m")
    assert run(store, outbox, 400_000) == 0
    put(store, message_id="<back@cellar.example>", occasion="returned", subject="BACK TO NORMAL", created_ms=500_000)
    with mail_server(inbox, port):
        assert outbox.work(500_000) == 0, "the next try of the alarm is in a quarter of an hour"
        assert run(store, outbox, 2_000_000, from_ms=501_000) == 2
    assert [mail["Subject"] for mail in inbox.mails] == [STORED.subject, "BACK TO NORMAL"]


def test_a_lost_note_makes_a_second_mail_with_the_same_id(store: Store) -> None:
    inbox, port = Inbox(), free_port()
    channel = MailChannel(route(port), lambda: None, UTC)

    def dies_after_it(message: MessageRow, now_ms: int) -> Result:
        assert channel.deliver(message, now_ms) == Delivered()
        raise KeyboardInterrupt

    put(store)
    with mail_server(inbox, port):
        with pytest.raises(KeyboardInterrupt):
            Outbox(store, dies_after_it, lambda: 0.5).work(0)
        assert Outbox(store, channel.deliver, lambda: 0.5).work(1000) == 1
    assert [mail["Message-ID"] for mail in inbox.mails] == [STORED.message_id] * 2


def test_a_message_waits_for_its_hour(store: Store) -> None:
    put(store, not_before_ms=7000)
    outbox = outbox_of(store, Channel())
    assert (outbox.work(6999), outbox.work(7000), outbox.work(7001)) == (0, 1, 0)


def test_a_channel_out_of_reach_is_tried_once_a_turn(store: Store) -> None:
    first, *_ = [put(store, message_id=f"<{number}@cellar.example>", occurrence=f"a2{number}") for number in range(3)]
    channel = Channel([DeliveryFailure(False, "gone", unreachable=True)])
    outbox = outbox_of(store, channel)
    assert outbox.work(0) == 0
    assert channel.tried == [(first, 0)]
    assert outbox.work(1) == 2
    assert outbox.work(5000) == 1


def test_one_refused_message_does_not_hold_up_the_others(store: Store, caplog: pytest.LogCaptureFixture) -> None:
    for number in range(3):
        put(store, message_id=f"<{number}@cellar.example>", occurrence=f"a2{number}")
    channel = Channel([DeliveryFailure(True, "550 no such user"), DeliveryFailure(False, "450 busy")])
    with caplog.at_level(logging.WARNING):
        assert outbox_of(store, channel).work(0) == 1
    assert [(row.state, row.last_error, row.attempts) for row in reversed(recent_messages(store))] == [
        ("waiting", "550 no such user", 1),
        ("waiting", "450 busy", 1),
        ("sent", None, 1),
    ]
    assert [record.getMessage() for record in caplog.records] == [
        f"message '{STORED.subject}' to ana@cellar.example not sent, next try in 1200 s: 550 no such user",
        f"message '{STORED.subject}' to ana@cellar.example not sent, next try in 5 s: 450 busy",
    ]


def test_it_gives_up_a_day_after_the_occurrence_closed_and_not_before_a_try(store: Store) -> None:
    put(store)
    close(store, 1000)
    busy = Channel(otherwise=lambda message, now_ms: DeliveryFailure(False, "busy"))
    assert run(store, outbox_of(store, busy), 3 * DAY_MS) == 0
    last = recent_messages(store)[0]
    assert (last.state, last.last_error) == ("gave up", "its alarm closed more than a day ago; last: busy")
    assert last.ended_ms is not None
    assert DAY_MS + 1000 <= last.ended_ms < DAY_MS + 1000 + 900_000
    put(store, message_id="<later@cellar.example>")
    assert outbox_of(store, Channel()).work(10 * DAY_MS) == 1, "one that was never tried is tried"


def test_while_the_occurrence_is_open_it_never_gives_up(store: Store) -> None:
    put(store)
    busy = Channel(otherwise=lambda message, now_ms: DeliveryFailure(False, "busy"))
    assert run(store, outbox_of(store, busy), 6 * DAY_MS) == 0
    assert len(busy.tried) > 500
    assert recent_messages(store)[0].state == "waiting"


@pytest.mark.parametrize(("failures", "seconds"), [(1, 5), (2, 15), (3, 60), (4, 300), (5, 900), (6, 900), (1000, 900)])
def test_the_waits_grow_to_a_quarter_of_an_hour(failures: int, seconds: int) -> None:
    assert wait_ms(failures, 0.5) == seconds * 1000
    assert wait_ms(failures, 0.0) == seconds * 800


@pytest.mark.parametrize(("failures", "minutes"), [(1, 20), (2, 40), (3, 60), (100, 60)])
def test_after_a_refusal_the_waits_grow_to_an_hour(failures: int, minutes: int) -> None:
    assert wait_ms(failures, 0.5, refused=True) == minutes * 60_000
    assert wait_ms(failures, 0.999, refused=True) < LONGEST_TRY_MS


@given(st.integers(1, 50), st.floats(0, 1, exclude_max=True))
def test_chance_spreads_a_wait_by_a_fifth_at_most(failures: int, chance: float) -> None:
    middle = wait_ms(failures, 0.5)
    assert 0.8 * middle <= wait_ms(failures, chance) <= 1.2 * middle


def test_calls_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one failure, not 0"):
        wait_ms(0, 0.5)
    with pytest.raises(ValueError, match=r"below 1, not 1\.0"):
        wait_ms(1, 1.0)


def test_giving_up_is_a_day_after_the_occurrence_closed() -> None:
    assert not gives_up(10**15, None)
    assert not gives_up(DAY_MS + 6, 7)
    assert gives_up(DAY_MS + 7, 7)
