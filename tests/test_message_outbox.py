"""The outbox: what is due goes out, once, and what fails is tried again."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC

import pytest
from mail_server import STORED, Inbox, Route, free_port, mail_server

from alerts.message import Delivered, DeliveryFailure, MailChannel, Outbox, StoredMessage

DAY_MS = 86_400_000


@dataclass
class Shelf:
    """The store's part in memory: message by id, when each is due, what became of it."""

    messages: dict[int, StoredMessage] = field(default_factory=dict)
    due_ms: dict[int, int] = field(default_factory=dict)
    log: list[tuple[str, int, int, str]] = field(default_factory=list)

    def add(self, message: StoredMessage) -> None:
        self.messages[message.id] = message
        self.due_ms[message.id] = message.not_before_ms

    def due(self, now_ms: int) -> Sequence[StoredMessage]:
        return [self.messages[id] for id, due_ms in self.due_ms.items() if due_ms <= now_ms]

    def sent(self, id: int, at_ms: int) -> None:
        del self.due_ms[id]
        self.log.append(("sent", id, at_ms, ""))

    def failed(self, id: int, at_ms: int, error: str, next_try_ms: int) -> None:
        self.messages[id] = replace(self.messages[id], attempts=self.messages[id].attempts + 1)
        self.due_ms[id] = next_try_ms
        self.log.append(("failed", id, at_ms, error))

    def gave_up(self, id: int, at_ms: int, reason: str) -> None:
        del self.due_ms[id]
        self.log.append(("gave up", id, at_ms, reason))


@dataclass
class Script:
    """A channel that answers as it is told, then delivers."""

    answers: list[DeliveryFailure] = field(default_factory=list)
    tried: list[tuple[int, int]] = field(default_factory=list)

    def __call__(self, message: StoredMessage, now_ms: int) -> Delivered | DeliveryFailure:
        self.tried.append((message.id, now_ms))
        return self.answers.pop(0) if self.answers else Delivered()


def shelf_of(*messages: StoredMessage) -> Shelf:
    shelf = Shelf()
    for message in messages:
        shelf.add(message)
    return shelf


def run(outbox: Outbox, shelf: Shelf, until_ms: int, from_ms: int = 0) -> int:
    """A turn at each moment at which something falls due; how many went out."""
    count, now_ms = 0, from_ms
    while shelf.due_ms and now_ms <= until_ms:
        count += outbox.work(now_ms)
        now_ms = max(now_ms + 1000, min(shelf.due_ms.values(), default=0))
    return count


def test_a_mail_server_down_for_ten_minutes_then_up_gets_the_mail_once() -> None:
    inbox, port, shelf = Inbox(), free_port(), shelf_of(STORED)
    outbox = Outbox(shelf, MailChannel(Route(port), lambda: None, UTC), lambda: 0.5)
    assert run(outbox, shelf, 600_000) == 0
    assert [at_ms for _, _, at_ms, _ in shelf.log] == [0, 5_000, 20_000, 80_000, 380_000]
    assert all(error == f"nothing listens at mail server 127.0.0.1 port {port}" for _, _, _, error in shelf.log)
    with mail_server(inbox, port):
        assert run(outbox, shelf, 2_000_000, from_ms=600_000) == 1
        assert run(outbox, shelf, 4_000_000, from_ms=2_000_000) == 0
    assert [mail["Message-ID"] for mail in inbox.mails] == [STORED.message_id]
    assert shelf.log[-1] == ("sent", 1, 1_280_000, "")


def test_a_lost_note_makes_a_second_mail_with_the_same_id() -> None:
    inbox, port, shelf = Inbox(), free_port(), shelf_of(STORED)
    outbox = Outbox(shelf, MailChannel(Route(port), lambda: None, UTC), lambda: 0.5)
    with mail_server(inbox, port):
        outbox.work(0)
        shelf.add(STORED)  # as after a power cut between sending and noting it
        outbox.work(1000)
    assert [mail["Message-ID"] for mail in inbox.mails] == [STORED.message_id] * 2


def test_a_message_waits_for_its_hour() -> None:
    shelf, script = shelf_of(replace(STORED, not_before_ms=7000)), Script()
    outbox = Outbox(shelf, script, lambda: 0.5)
    assert (outbox.work(6999), outbox.work(7000), outbox.work(7001)) == (0, 1, 0)


def test_a_channel_out_of_reach_is_tried_once_a_turn() -> None:
    shelf = shelf_of(*(replace(STORED, id=id) for id in (1, 2, 3)))
    script = Script([DeliveryFailure(False, "gone", unreachable=True)])
    outbox = Outbox(shelf, script, lambda: 0.5)
    assert outbox.work(0) == 0
    assert script.tried == [(1, 0)]
    assert outbox.work(1) == 2
    assert outbox.work(5000) == 1


def test_one_refused_message_does_not_hold_up_the_others(caplog: pytest.LogCaptureFixture) -> None:
    shelf = shelf_of(*(replace(STORED, id=id) for id in (1, 2, 3)))
    script = Script([DeliveryFailure(True, "550 no such user"), DeliveryFailure(False, "450 busy")])
    with caplog.at_level(logging.WARNING):
        assert Outbox(shelf, script, lambda: 0.5).work(0) == 1
    assert shelf.log == [("gave up", 1, 0, "550 no such user"), ("failed", 2, 0, "450 busy"), ("sent", 3, 0, "")]
    assert [record.getMessage() for record in caplog.records] == [
        f"message '{STORED.subject}' to ana@cellar.example: gave up: 550 no such user",
        f"message '{STORED.subject}' to ana@cellar.example not sent, next try in 5 s: 450 busy",
    ]


def test_it_gives_up_a_day_after_the_occurrence_closed_and_not_before_a_try() -> None:
    shelf = shelf_of(replace(STORED, closed_ms=1000))
    script = Script([DeliveryFailure(False, "busy")] * 500)
    outbox = Outbox(shelf, script, lambda: 0.5)
    assert run(outbox, shelf, 3 * DAY_MS) == 0
    kind, _, at_ms, reason = shelf.log[-1]
    assert (kind, reason) == ("gave up", "its alarm closed more than a day ago; last: busy")
    assert DAY_MS + 1000 <= at_ms < DAY_MS + 1000 + 900_000
    shelf = shelf_of(replace(STORED, closed_ms=1000))
    assert Outbox(shelf, Script(), lambda: 0.5).work(10 * DAY_MS) == 1, "one that was never tried is tried"


def test_while_the_occurrence_is_open_it_never_gives_up() -> None:
    shelf, script = shelf_of(STORED), Script([DeliveryFailure(False, "busy")] * 600)
    outbox = Outbox(shelf, script, lambda: 0.5)
    assert run(outbox, shelf, 6 * DAY_MS) == 0
    assert {kind for kind, *_ in shelf.log} == {"failed"}
    assert len(shelf.log) > 500
