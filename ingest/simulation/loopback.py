"""Free ports on this machine's loopback."""

from __future__ import annotations

__all__ = ["LOOPBACK", "free_port"]

import random
import socket
from typing import Final

LOOPBACK: Final = "127.0.0.1"
# Below the ports that Linux gives to connections (ip_local_port_range): any connection may take one of those before the
# server is there, and a client that keeps trying such a port can even connect to itself.
_LOWEST: Final = 20_000
_HIGHEST: Final = 32_000
# Never seeded, so that processes that run side by side choose differently.
_CHANCE: Final = random.SystemRandom()


def free_port() -> int:
    """Find a TCP port that is free now and that no connection is given before it is used."""
    while True:
        port = _CHANCE.randint(_LOWEST, _HIGHEST)
        with socket.socket() as server:
            # As servers do: remains of closed connections do not matter.
            server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                server.bind((LOOPBACK, port))
            except OSError:
                continue
            return port
