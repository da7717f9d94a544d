"""Messages that cannot wait for the store: kept in memory, handed to the channel, and tried again until it is back."""

from __future__ import annotations

__all__ = ["DirectMessages"]

import logging
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from threading import Lock

from alerts.message.outbox import Delivered, DeliveryFailure, wait_ms
from ingest.cellar import MAIL_CHANNEL
from ingest.store.alarms.messages import MessageRow, NewMessage

_log = logging.getLogger(__name__)


@dataclass(slots=True)
class _Waiting:
    key: str
    message: MessageRow
    failures: int = 0
    next_try_ms: int = field(default=0)


class DirectMessages:
    """``put`` and ``delivered`` belong to the turn, ``work`` to the threads that send."""

    def __init__(self, chance: Callable[[], float]) -> None:
        self._chance = chance
        self._lock = Lock()
        self._waiting: list[_Waiting] = []
        # (key of the limit, occasion, recipient) -> how many went out.
        self._delivered: Counter[tuple[str, str, str]] = Counter()

    def put(self, key: str, messages: Sequence[NewMessage]) -> None:
        """Add messages about a limit; they go out with the next ``work``."""
        with self._lock:
            self._waiting += [_Waiting(key, _as_row(message)) for message in messages]

    def work(
        self,
        now_ms: int,
        deliver: Callable[[MessageRow, int], Delivered | DeliveryFailure],
        channel: str = MAIL_CHANNEL,
    ) -> None:
        """Try what is due on a channel; one that is refused for good is logged and dropped."""
        with self._lock:
            due = [each for each in self._waiting if each.next_try_ms <= now_ms and each.message.channel == channel]
        for each in due:
            result = deliver(each.message, now_ms)
            with self._lock:
                if isinstance(result, Delivered):
                    self._delivered[each.key, each.message.occasion, each.message.recipient] += 1
                if isinstance(result, Delivered) or result.permanent:
                    self._waiting = [other for other in self._waiting if other is not each]
                else:
                    each.failures += 1
                    each.next_try_ms = now_ms + wait_ms(each.failures, self._chance())
            if isinstance(result, DeliveryFailure):
                subject, recipient = each.message.subject, each.message.recipient
                _log.warning("message '%s' to %s not sent: %s", subject, recipient, result.text)
                if result.unreachable:
                    return

    def drop_waiting(self) -> None:
        """Forget what did not go out: the store is back, and the outbox has it."""
        with self._lock:
            self._waiting.clear()

    def delivered(self) -> Counter[tuple[str, str, str]]:
        """What went out since ``forget``: (key of the limit, occasion, recipient) -> how many."""
        with self._lock:
            return Counter(self._delivered)

    def forget(self) -> None:
        """Forget what went out."""
        with self._lock:
            self._delivered.clear()


def _as_row(message: NewMessage) -> MessageRow:
    return MessageRow(
        id=0,
        **message._asdict(),
        state="waiting",
        attempts=0,
        next_try_ms=message.not_before_ms,
        last_error=None,
        ended_ms=None,
        closed_ms=None,
    )
