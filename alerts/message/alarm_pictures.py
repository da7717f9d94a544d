"""Pictures of alarms, made aside: a message waits for its picture only so long, and goes without it then.

A picture that is late follows in a mail of its own. A thread reads the store and has the picture drawn by a child
process; the thread that sends never draws.
"""

from __future__ import annotations

__all__ = ["LATE_AGAIN_MS", "WAIT_MS", "AlarmPictures", "draw_alarm"]

import logging
from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from threading import Event, Lock, Thread
from typing import Final

from alerts.errors import PictureFailed
from alerts.message.alarm_chart import alarm_chart
from alerts.message.digest import DIGEST
from alerts.message.reminders import PASSED_ON
from alerts.pictures import draw
from alerts.watch.alarm_table import Occasion
from ingest.cellar import Cellar
from ingest.errors import IngestError
from ingest.store import open_existing
from ingest.store.alarms.held_messages import FLOOD, FLOOD_OVER
from ingest.store.alarms.messages import MessageRow

_log = logging.getLogger(__name__)

# How long after it was due a message may wait for its picture. From a breach to the mail server it may take 4 s, of
# which commit, turn and mail need up to two. What waits behind another message waits no longer for that.
WAIT_MS: Final = 1500
# A picture that is late follows by itself, but no more often than this: many alarms at once must not become twice as
# many mails.
LATE_AGAIN_MS: Final = 60_000
# What waited longer, such as for the end of an absence, shows the day before it was written: by then the last day may
# have nothing to do with it.
_OLD_MS: Final = 24 * 3_600_000
# A child that takes longer is ended.
_DRAW_S: Final = 20.0
_MOST_KEPT: Final = 16
# What is about more than one alarm, or about none that is still watched.
_WITHOUT: Final = (DIGEST, FLOOD, FLOOD_OVER, Occasion.REMOVED)
# The first that somebody hears of an alarm. Of what follows, a picture that is late is not worth a mail of its own.
_FIRST: Final = (Occasion.RAISED, PASSED_ON)


def draw_alarm(cellar: Cellar, occurrence: str, now_ms: int) -> bytes | None:
    """Draw the picture (PNG) of an alarm as of a time (UTC ms); None where there is nothing to see.

    Raises PictureFailed and StoreError.
    """
    with open_existing(cellar.store_path) as store:
        chart = alarm_chart(cellar, store, occurrence, now_ms)
    return None if chart is None else draw(chart, "png", _DRAW_S)


@dataclass(slots=True)
class _Order:
    """A picture that is being made. until_ms: how long its messages wait, UTC ms; done: set when it is there, or will
    not come; without: who was not to wait.
    """

    until_ms: int
    done: Event = field(default_factory=Event)
    picture: bytes | None = None
    without: list[MessageRow] = field(default_factory=list)


class AlarmPictures:
    """Gives the pictures of messages. make: draws one by occurrence and time, and may take long; clock: UTC ms."""

    def __init__(self, make: Callable[[str, int], bytes | None], clock: Callable[[], int]) -> None:
        self._make = make
        self._clock = clock
        self._lock = Lock()
        self._orders: OrderedDict[tuple[str, int], _Order] = OrderedDict()
        self._thread: Thread | None = None
        # An occurrence, and when its message was written, UTC ms.
        self._waiting: list[tuple[str, int, _Order]] = []
        self._last_late_ms: int | None = None

    def of(self, message: MessageRow) -> bytes | None:
        """Give the picture of a message as PNG; None where it has none, or none in time."""
        occurrence = message.occurrence or ""
        if message.occasion in _WITHOUT or not occurrence or " " in occurrence:
            return None
        until_ms = max(message.created_ms, message.not_before_ms) + WAIT_MS
        order = self._ordered(occurrence, message.created_ms, until_ms)
        # What is tried again, or is late for another reason, waits no more.
        wait_ms = min(max(0, until_ms - self._clock()), WAIT_MS)
        order.without = [each for each in order.without if each.id != message.id]
        if order.done.wait(wait_ms / 1000):
            return order.picture
        if message.occasion in _FIRST and not message.attempts:
            order.without.append(message)
        return None

    def not_sent(self, message: MessageRow) -> None:
        """Take back that a message went without its picture: it did not go, and no picture may come before it."""
        with self._lock:
            orders = list(self._orders.values())
        for order in orders:
            order.without = [each for each in order.without if each.id != message.id]

    def late(self) -> Iterator[tuple[MessageRow, bytes]]:
        """Give what was late and is there now: messages that went without it, each once, with the picture."""
        now_ms = self._clock()
        with self._lock:
            orders = [order for order in self._orders.values() if order.done.is_set() and order.without]
        for order in orders:
            messages, order.without = order.without, []
            rests = self._last_late_ms is not None and 0 <= now_ms - self._last_late_ms < LATE_AGAIN_MS
            if order.picture is not None and not rests:
                self._last_late_ms = now_ms
                yield from ((message, order.picture) for message in messages)

    def _ordered(self, occurrence: str, created_ms: int, until_ms: int) -> _Order:
        """The order of the picture for messages of this moment. Several people get the same one."""
        with self._lock:
            order = self._orders.get((occurrence, created_ms))
            if order is None:
                order = self._orders[occurrence, created_ms] = _Order(until_ms)
                while len(self._orders) > _MOST_KEPT:
                    self._orders.popitem(last=False)
                self._waiting = [*self._waiting, (occurrence, created_ms, order)][-_MOST_KEPT:]
                if self._thread is None:
                    self._thread = Thread(target=self._work, name="pictures", daemon=True)
                    self._thread.start()
            return order

    def _work(self) -> None:
        while True:
            with self._lock:
                if not self._waiting:
                    self._thread = None
                    return
                occurrence, created_ms, order = self._waiting.pop(0)
                is_given_up = bool(self._waiting) and self._clock() >= order.until_ms
            if is_given_up:  # so that of many alarms at once those have a picture that can still get one in time
                order.done.set()
                continue
            now_ms = self._clock()
            try:
                order.picture = self._make(occurrence, now_ms if now_ms - created_ms < _OLD_MS else created_ms)
            except (PictureFailed, IngestError) as error:
                _log.warning("the picture of alarm %s was not made: %s", occurrence, error)
            except Exception:  # noqa: BLE001  the top of the thread's turn; it goes on
                _log.exception("the picture of alarm %s was not made", occurrence)
            order.done.set()
