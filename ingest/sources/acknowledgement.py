"""In which order the messages of one connection are acknowledged, and which acknowledgements are void.

MQTT 5.0, statement MQTT-4.6.0-2 (3.1.1 has the same), wants PUBACKs in the order in which the PUBLISHes came. The
client library sends them in whatever order they are handed to it, also for messages that it never saw. And packet ids
are used again: an id that is acknowledged twice, or on a later connection, acknowledges somebody else's message. So a
ticket counts by identity, not by its numbers, and what is done before its turn waits for those before it.
"""

from __future__ import annotations

__all__ = ["AckOrder"]

import threading
from collections import deque
from collections.abc import Callable, Iterable

from ingest.sources.sample import Ticket


class AckOrder:
    """The unacknowledged tickets of one connection, oldest first.

    ``arrived`` and ``refused`` belong to the network thread, ``done`` to any thread. ``send`` is called with packet id
    and QoS in the order of arrival, one call at a time.
    """

    def __init__(self, send: Callable[[int, int], object]) -> None:
        self._send = send
        self._waiting: deque[Ticket] = deque()
        self._early: dict[int, Ticket] = {}  # by id(); the ticket is kept too, so that its id() stays its own
        self._lock = threading.Lock()
        # Bound once, because it is called for every message; append is atomic, so no lock is taken.
        self.arrived: Callable[[Ticket], None] = self._waiting.append
        self.sent = 0

    def __len__(self) -> int:
        return len(self._waiting)

    def refused(self, ticket: Ticket) -> None:
        """The message that arrived last was taken by nobody: it stays unacknowledged, and holds up no later one.

        The broker sends it again on the next connection.
        """
        with self._lock:
            if self._waiting and self._waiting[-1] is ticket:
                self._waiting.pop()

    def done(self, tickets: Iterable[Ticket]) -> None:
        """What these tickets stand for is safe; each must be the very object that was handed out."""
        waiting, early, send = self._waiting, self._early, self._send
        with self._lock:
            for ticket in tickets:
                if not waiting or waiting[0] is not ticket:
                    early[id(ticket)] = ticket
                    continue
                waiting.popleft()
                send(ticket.packet_id, ticket.qos)
                self.sent += 1
                while early and waiting and id(waiting[0]) in early:
                    before = waiting.popleft()
                    del early[id(before)]
                    send(before.packet_id, before.qos)
                    self.sent += 1
            if not waiting:
                early.clear()  # what is left was acknowledged twice or never came this way
