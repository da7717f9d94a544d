"""Connections to the page: a bound on how many there are, and on how long one may take to say what it wants."""

from __future__ import annotations

__all__ = ["LONGEST_REQUEST_S", "MOST_CONNECTIONS", "LimitedProtocol"]

import asyncio
from typing import Any, Final

from uvicorn.protocols.http.h11_impl import H11Protocol

# A browser opens six to a server; a cellar has a few people.
MOST_CONNECTIONS: Final = 64
# From the connection, or the last answer on it, to a whole request.
LONGEST_REQUEST_S: Final = 10.0


class LimitedProtocol(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it. A connection beyond the bound, or one that asks for nothing, is closed."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn has it
        """Take a connection, or close it at once where there are too many."""
        self._patience: asyncio.TimerHandle | None = None
        if len(self.connections) >= MOST_CONNECTIONS:
            self.transport = transport
            transport.abort()
            return
        super().connection_made(transport)
        self._patience = self.loop.call_later(LONGEST_REQUEST_S, self._close_if_nothing_is_asked)

    def _close_if_nothing_is_asked(self) -> None:
        if self.cycle is None or self.cycle.response_complete:
            self.transport.abort()
        else:
            # An answer is under way; look again later.
            self._patience = self.loop.call_later(LONGEST_REQUEST_S, self._close_if_nothing_is_asked)

    def on_response_complete(self) -> None:
        """Give a connection that stays open the same time for its next request."""
        if self._patience is not None:
            self._patience.cancel()
            self._patience = self.loop.call_later(LONGEST_REQUEST_S, self._close_if_nothing_is_asked)
        super().on_response_complete()

    def connection_lost(self, exc: Any) -> None:
        """Forget the connection."""
        if self._patience is None:
            return  # it was never taken
        self._patience.cancel()
        super().connection_lost(exc)
