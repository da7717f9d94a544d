"""The outbox: takes messages that are due from the store, hands them to a channel, and notes what came of it.

Messages are stored in the transaction that takes the alarm's step, so none is lost; one may go out twice when leeside
dies between sending and noting it (RFC 1047 describes the same for the mail server's lost answer). Its Message-ID is
then the same, and receivers can drop the second.
"""

from __future__ import annotations

__all__ = ["GIVE_UP_MS", "Delivered", "DeliveryFailure", "Outbox", "gives_up", "wait_ms"]

import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from ingest.store import Store
from ingest.store.alarms.messages import MessageRow, due_messages, mark_failed, mark_gave_up, mark_sent

_log = logging.getLogger(__name__)

# The first waits are short, for a mail server that restarts; RFC 5321 section 4.5.4.1 asks relays for at least 30
# minutes, which is too slow for an alarm on its first hop. The figures are this project's choice.
_WAITS_S: Final = (5, 15, 60, 300, 900)
_JITTER: Final = 0.2
GIVE_UP_MS: Final = 24 * 3600 * 1000


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


class Outbox:
    """The queue's work. deliver: gets a message and the time (UTC ms); chance: gives numbers in [0, 1)."""

    def __init__(
        self,
        store: Store,
        deliver: Callable[[MessageRow, int], Delivered | DeliveryFailure],
        chance: Callable[[], float],
    ) -> None:
        self._store = store
        self._deliver = deliver
        self._chance = chance

    def work(self, now_ms: int) -> int:
        """Try every message that is due and return how many went out.

        Stops at the first that finds the channel out of reach, so that a dead mail server costs one time-out, not one
        for each message; the others stay due.
        """
        count = 0
        for message in due_messages(self._store, now_ms):
            result = self._deliver(message, now_ms)
            if isinstance(result, Delivered):
                mark_sent(self._store, message.id, now_ms)
                count += 1
                continue
            self._note_failure(message, result, now_ms)
            if result.unreachable:
                break
        return count

    def _note_failure(self, message: MessageRow, result: DeliveryFailure, now_ms: int) -> None:
        if result.permanent or gives_up(now_ms, message.closed_ms):
            reason = result.text if result.permanent else f"its alarm closed more than a day ago; last: {result.text}"
            _log.error("message '%s' to %s: gave up: %s", message.subject, message.recipient, reason)
            mark_gave_up(self._store, message.id, now_ms, reason)
            return
        wait = wait_ms(message.attempts + 1, self._chance())
        _log.warning(
            "message '%s' to %s not sent, next try in %d s: %s",
            message.subject,
            message.recipient,
            round(wait / 1000),
            result.text,
        )
        mark_failed(self._store, message.id, result.text, now_ms + wait)


def wait_ms(failures: int, chance: float) -> int:
    """Milliseconds to wait after this many failures (1 or more); chance in [0, 1) spreads it by 20 % either way."""
    if failures < 1:
        raise ValueError(f"a wait follows at least one failure, not {failures}")
    if not 0 <= chance < 1:
        raise ValueError(f"chance must be at least 0 and below 1, not {chance}")
    wait_s = _WAITS_S[min(failures, len(_WAITS_S)) - 1]
    return round(wait_s * 1000 * (1 + _JITTER * (2 * chance - 1)))


def gives_up(now_ms: int, closed_ms: int | None) -> bool:
    """Whether a message that failed is not tried again: a day after its occurrence closed; never while that is open."""
    return closed_ms is not None and now_ms - closed_ms >= GIVE_UP_MS
