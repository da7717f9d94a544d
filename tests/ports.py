"""TCP ports of the loopback for the servers of tests."""

from __future__ import annotations

__all__ = ["free_port"]

import random
import socket
from typing import Final

# Below those that Linux gives to connections (ip_local_port_range): a port out of those can be taken by anybody's
# connection while a test has its server down, and a client that tries it again and again can even reach itself.
_LOWEST: Final = 20_000
_HIGHEST: Final = 32_000
# Not seeded by a test, so that processes side by side do not choose alike.
_CHANCE: Final = random.SystemRandom()


def free_port() -> int:
    """A port that nobody listens on now, and that no connection is given later."""
    while True:
        port = _CHANCE.randint(_LOWEST, _HIGHEST)
        with socket.socket() as server:
            # As servers do: what is left of connections that were closed does not matter.
            server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                server.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
