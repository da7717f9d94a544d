"""The outbox: takes messages that are due from the store, hands them to a channel, and notes what came of it.

Messages are stored in the transaction that takes the alarm's step, so none is lost; one may go out twice when leeside
dies between sending and noting it (RFC 1047 describes the same for the mail server's lost answer). Its Message-ID is
then the same, and receivers can drop the second.
"""

from __future__ import annotations

__all__ = ["Delivered", "DeliveryFailure", "Outbox", "OutboxStore", "StoredMessage"]

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from alerts.message.retry import gives_up, wait_ms

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class StoredMessage:
    """A message as the store keeps it, one for each recipient.

    id: its row; message_id: its own Message-ID with angle brackets, the same on every try; thread_id: the Message-ID
    of the message that raised the occurrence (its own, if this is the one); not_before_ms: when it may first be
    tried; attempts: tries that failed; closed_ms: when its occurrence closed, None while that is open. Times are UTC
    milliseconds.
    """

    id: int
    message_id: str
    thread_id: str | None
    recipient: str
    subject: str
    body: str
    created_ms: int
    not_before_ms: int
    attempts: int = 0
    closed_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Delivered:
    """The next hop has taken the message."""


@dataclass(frozen=True, slots=True)
class DeliveryFailure:
    """The message was not taken. permanent: trying again is of no use; text: why, for a person; unreachable: no
    message can get through at present, so that trying the next one is of no use either.
    """

    permanent: bool
    text: str
    unreachable: bool = False


class OutboxStore(Protocol):
    """What the outbox asks of the store; each call is one short transaction."""

    def due(self, now_ms: int) -> Sequence[StoredMessage]:
        """Messages neither sent nor given up whose time has come (``not_before_ms``, or the next try), oldest first."""

    def sent(self, id: int, at_ms: int) -> None:
        """Note that a message was taken by the next hop."""

    def failed(self, id: int, at_ms: int, error: str, next_try_ms: int) -> None:
        """Note a try that failed: one more attempt, its error, and when it is due again."""

    def gave_up(self, id: int, at_ms: int, reason: str) -> None:
        """Note that a message is not tried again."""


class Outbox:
    """The queue's work. send gets a message and the time; chance gives numbers in [0, 1)."""

    def __init__(
        self,
        store: OutboxStore,
        send: Callable[[StoredMessage, int], Delivered | DeliveryFailure],
        chance: Callable[[], float],
    ) -> None:
        self._store = store
        self._send = send
        self._chance = chance

    def work(self, now_ms: int) -> int:
        """Try every message that is due and return how many went out.

        Stops at the first that finds the channel out of reach, so that a dead mail server costs one time-out, not one
        for each message; the others stay due.
        """
        count = 0
        for message in self._store.due(now_ms):
            result = self._send(message, now_ms)
            if isinstance(result, Delivered):
                self._store.sent(message.id, now_ms)
                count += 1
                continue
            self._refused(message, result, now_ms)
            if result.unreachable:
                break
        return count

    def _refused(self, message: StoredMessage, result: DeliveryFailure, now_ms: int) -> None:
        if result.permanent or gives_up(now_ms, message.closed_ms):
            reason = result.text if result.permanent else f"its alarm closed more than a day ago; last: {result.text}"
            _log.error("message '%s' to %s: gave up: %s", message.subject, message.recipient, reason)
            self._store.gave_up(message.id, now_ms, reason)
            return
        wait = wait_ms(message.attempts + 1, self._chance())
        _log.warning(
            "message '%s' to %s not sent, next try in %d s: %s",
            message.subject,
            message.recipient,
            round(wait / 1000),
            result.text,
        )
        self._store.failed(message.id, now_ms, result.text, now_ms + wait)
