"""The outbox: takes messages that are due from the store, hands them to a channel, and notes what came of it.

Messages are stored in the transaction that takes the alarm's step, so none is lost; one may go out twice when leeside
dies between sending and noting it (RFC 1047 describes the same for the mail server's lost answer). Its Message-ID is
then the same, and receivers can drop the second.
"""

from __future__ import annotations

__all__ = ["GIVE_UP_MS", "LONGEST_ASKED_MS", "Delivered", "DeliveryFailure", "Outbox", "gives_up", "wait_ms"]

import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from ingest.errors import StoreError
from ingest.store import Store
from ingest.store.alarms.messages import (
    MessageRow,
    begin_try,
    due_messages,
    mark_failed,
    mark_gave_up,
    mark_sent,
)

_log = logging.getLogger(__name__)

# The first waits are short, for a mail server that restarts; RFC 5321 section 4.5.4.1 asks relays for at least 30
# minutes, which is too slow for an alarm on its first hop. The figures are this project's choice.
_WAITS_S: Final = (5, 15, 60, 300, 900)
# After "no" and not only "not now" (a reply of 5yz, RFC 5321 section 4.2.1): somebody has to mend something first, but
# an alarm that is open is still worth a mail then. This project's choice.
_WAITS_REFUSED_S: Final = (1200, 2400, 3600)
_JITTER: Final = 0.2
GIVE_UP_MS: Final = 24 * 3600 * 1000
# An alarm waits no longer than this for a server that asks for patience; this project's choice.
LONGEST_ASKED_MS: Final = 3600 * 1000


@dataclass(frozen=True, slots=True)
class Delivered:
    """The next hop has taken the message."""


@dataclass(frozen=True, slots=True)
class DeliveryFailure:
    """The message was not taken. permanent: it was refused, and trying again soon is of no use; text: why, for a
    person; unreachable: no message can get through at present, so that trying the next one is of no use either;
    retry_after_s: for how long the other side asks not to be asked again, None where it does not say.
    """

    permanent: bool
    text: str
    unreachable: bool = False
    retry_after_s: float | None = None


class Outbox:
    """The queue's work.

    deliver: gets a message and the time (UTC ms); chance: gives numbers in [0, 1); collect: puts together what may go
    out as one message, given the time; channel: whose messages these are, None for every channel's.
    """

    def __init__(
        self,
        store: Store,
        deliver: Callable[[MessageRow, int], Delivered | DeliveryFailure],
        chance: Callable[[], float],
        collect: Callable[[int], None] = lambda now_ms: None,
        channel: str | None = None,
    ) -> None:
        self._store = store
        self._collect = collect
        self._deliver = deliver
        self._chance = chance
        self._channel = channel
        self._unnoted: dict[int, int] = {}
        # Until when the other side asked not to be asked again, UTC ms.
        self._asked_until_ms = 0

    def work(self, now_ms: int) -> int:
        """Try every message that is due and return how many went out.

        Stops at the first that finds the channel out of reach, so that a dead mail server costs one time-out, not one
        for each message; the others stay due. What went out and could not be noted is noted later, not sent again.
        """
        self._note_sent()
        try:
            self._collect(now_ms)
        except StoreError as error:
            _log.warning("what waited to go out together goes out by itself: %s", error)
        if now_ms < self._asked_until_ms <= now_ms + LONGEST_ASKED_MS:  # a clock that was set back holds nothing up
            return 0
        count = 0
        for message in due_messages(self._store, now_ms, channel=self._channel):
            if message.id in self._unnoted or not self._begin(message):
                continue
            result = self._deliver(message, now_ms)
            if isinstance(result, Delivered):
                self._unnoted[message.id] = now_ms
                self._note_sent()
                count += 1
                continue
            self._note_failure(message, result, now_ms)
            if result.retry_after_s is not None:
                self._asked_until_ms = now_ms + min(round(result.retry_after_s * 1000), LONGEST_ASKED_MS)
            if result.unreachable:
                break
        return count

    def _begin(self, message: MessageRow) -> bool:
        try:
            return begin_try(self._store, message.id)
        except StoreError as error:
            _log.warning("message '%s' is sent though its try cannot be noted: %s", message.subject, error)
            return True

    def _note_sent(self) -> None:
        for message, at_ms in list(self._unnoted.items()):
            try:
                mark_sent(self._store, message, at_ms)
            except StoreError as error:
                _log.warning("a message went out, which cannot be noted yet: %s", error)
                return
            del self._unnoted[message]

    def _note_failure(self, message: MessageRow, result: DeliveryFailure, now_ms: int) -> None:
        # A report belongs to no alarm. (An earlier version did not say of several which they were.)
        over_ms = message.created_ms if message.occurrence is None else message.closed_ms
        if gives_up(now_ms, over_ms):
            what = "it was written" if message.occurrence is None else "its alarm closed"
            reason = f"{what} more than a day ago; last: {result.text}"
            _log.error("message '%s' to %s: gave up: %s", message.subject, message.recipient, reason)
            mark_gave_up(self._store, message.id, now_ms, reason)
            return
        wait = wait_ms(message.attempts + 1, self._chance(), refused=result.permanent)
        if result.retry_after_s is not None:
            wait = max(wait, min(round(result.retry_after_s * 1000), LONGEST_ASKED_MS))
        _log.warning(
            "message '%s' to %s not sent, next try in %d s: %s",
            message.subject,
            message.recipient,
            round(wait / 1000),
            result.text,
        )
        mark_failed(self._store, message.id, result.text, now_ms + wait)


def wait_ms(failures: int, chance: float, *, refused: bool = False) -> int:
    """Milliseconds to wait after this many failures (1 or more); chance in [0, 1) spreads it by 20 % either way.

    refused: the server said that it will not take the message.
    """
    if failures < 1:
        raise ValueError(f"a wait follows at least one failure, not {failures}")
    if not 0 <= chance < 1:
        raise ValueError(f"chance must be at least 0 and below 1, not {chance}")
    waits_s = _WAITS_REFUSED_S if refused else _WAITS_S
    wait_s = waits_s[min(failures, len(waits_s)) - 1]
    return round(wait_s * 1000 * (1 + _JITTER * (2 * chance - 1)))


def gives_up(now_ms: int, closed_ms: int | None) -> bool:
    """Whether a message that failed is not tried again: a day after its occurrence closed; never while that is open."""
    return closed_ms is not None and now_ms - closed_ms >= GIVE_UP_MS
