"""Connections to the page: a bound on how many there are, on how long one may take to say what it wants, and on how
long an answer waits for a visitor that does not read it.
"""

from __future__ import annotations

__all__ = ["LONGEST_REQUEST_S", "LONGEST_UNREAD_S", "MOST_CONNECTIONS", "STREAMS", "LimitedProtocol"]

import asyncio.constants
import fcntl
import socket
import struct
import termios
from typing import Any, Final
from weakref import WeakKeyDictionary, WeakSet

from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.server import ServerState

# A browser opens six to a server; a cellar has a few people.
MOST_CONNECTIONS: Final = 64
# From the connection, or the last answer on it, to a whole request.
LONGEST_REQUEST_S: Final = 10.0
# While nobody reads what is sent: a lid was closed, or a device has left the network.
LONGEST_UNREAD_S: Final = 30.0
# Answers that go on until the visitor or the page ends.
STREAMS: Final = frozenset({"/events", "/api/events"})

# Connections whose TLS handshake goes on, of each server. asyncio waits a minute for one, and uvicorn has no setting.
_IN_HANDSHAKE: Final[WeakKeyDictionary[ServerState, WeakSet[H11Protocol]]] = WeakKeyDictionary()
asyncio.constants.SSL_HANDSHAKE_TIMEOUT = LONGEST_REQUEST_S


class LimitedProtocol(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it. A connection beyond the bound, or one that asks for nothing, is closed."""

    def __init__(self, *arguments: Any, **settings: Any) -> None:
        super().__init__(*arguments, **settings)
        self._patience: asyncio.TimerHandle | None = None
        if self.config.is_ssl:
            self._wait_for_handshake()

    def _wait_for_handshake(self) -> None:
        """Count a connection that is not made yet. Raises ConnectionAbortedError, which closes it, beyond the bound."""
        waiting = _IN_HANDSHAKE.setdefault(self.server_state, WeakSet())
        if len(waiting) >= MOST_CONNECTIONS:
            raise ConnectionAbortedError(f"more than {MOST_CONNECTIONS} connections begin at once")
        waiting.add(self)
        self.loop.call_later(LONGEST_REQUEST_S, waiting.discard, self)

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn has it
        """Take a connection, or close it at once where there are too many."""
        if self.config.is_ssl:
            _IN_HANDSHAKE[self.server_state].discard(self)
        if len(self.connections) >= MOST_CONNECTIONS:
            self.transport = transport
            transport.abort()
            return
        super().connection_made(transport)
        self._unread: asyncio.TimerHandle | None = None
        self._unsent_for_s = 0.0
        _give_up_unread(transport)
        self._patience = self.loop.call_later(LONGEST_REQUEST_S, self._close_if_nothing_is_asked)

    def _close_if_nothing_is_asked(self) -> None:
        is_answered = self.cycle is None or self.cycle.response_complete
        # What the page has given out may still be on its way to a slow visitor; to close now would cut it off.
        if is_answered and (self._unsent_for_s >= LONGEST_UNREAD_S or not _unsent_bytes(self.transport)):
            self.transport.abort()
            return
        if is_answered:
            self._unsent_for_s += LONGEST_REQUEST_S
        # An answer is under way; look again later.
        self._patience = self.loop.call_later(LONGEST_REQUEST_S, self._close_if_nothing_is_asked)

    def on_response_complete(self) -> None:
        """Give a connection that stays open the same time for its next request."""
        self._unsent_for_s = 0.0
        if self._patience is not None:
            self._patience.cancel()
            self._patience = self.loop.call_later(LONGEST_REQUEST_S, self._close_if_nothing_is_asked)
        super().on_response_complete()

    def pause_writing(self) -> None:
        """Wait until the visitor reads again, but not for ever."""
        super().pause_writing()
        self._unread = self.loop.call_later(LONGEST_UNREAD_S, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on: the visitor reads."""
        if self._unread is not None:
            self._unread.cancel()
        super().resume_writing()

    def shutdown(self) -> None:
        """End the connection when the page stops: at once where nothing is asked or a stream goes on."""
        super().shutdown()
        is_busy = self.cycle is not None and not self.cycle.response_complete
        if is_busy and self.scope["path"] in STREAMS:
            self.transport.abort()

    def connection_lost(self, exc: Any) -> None:
        """Forget the connection."""
        if self._patience is None:
            return  # it was never taken
        self._patience.cancel()
        if self._unread is not None:
            self._unread.cancel()
        super().connection_lost(exc)


def _unsent_bytes(transport: asyncio.Transport) -> int:
    """How much the other end has not acknowledged yet, as far as the system knows; what waits for room comes after it.

    Source: tcp(7), SIOCOUTQ, which is TIOCOUTQ.
    """
    connection = transport.get_extra_info("socket")
    try:
        count: int = struct.unpack("i", fcntl.ioctl(connection.fileno(), termios.TIOCOUTQ, b"\0\0\0\0"))[0]
    except (AttributeError, OSError):  # it is gone, or a system that does not say
        return 0
    return count


def _give_up_unread(transport: asyncio.Transport) -> None:
    """Let the system end a connection whose other end has vanished, in place of a quarter of an hour later.

    Source: tcp(7), TCP_USER_TIMEOUT, RFC 5482.
    """
    connection = transport.get_extra_info("socket")
    if connection is not None and hasattr(socket, "TCP_USER_TIMEOUT"):
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, round(LONGEST_UNREAD_S * 1000))
