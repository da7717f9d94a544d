"""Ports of this machine's loopback that nobody listens on."""

from __future__ import annotations

__all__ = ["LOOPBACK", "free_port"]

import random
import socket
from typing import Final

LOOPBACK: Final = "127.0.0.1"
# Below those that Linux gives to connections (ip_local_port_range): one of those can be taken by anybody's connection
# before the server is there, and a client that tries it again and again can even reach itself.
_LOWEST: Final = 20_000
_HIGHEST: Final = 32_000
# Not seeded by anybody, so that processes side by side do not choose alike.
_CHANCE: Final = random.SystemRandom()


def free_port() -> int:
    """A TCP port that nobody listens on now, and that no connection is given before it is used."""
    while True:
        port = _CHANCE.randint(_LOWEST, _HIGHEST)
        with socket.socket() as server:
            # As servers do: what is left of connections that were closed does not matter.
            server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                server.bind((LOOPBACK, port))
            except OSError:
                continue
            return port
