"""A port of this machine's loopback that nobody listens on."""

from __future__ import annotations

__all__ = ["LOOPBACK", "free_port"]

import socket
from typing import Final

LOOPBACK: Final = "127.0.0.1"


def free_port() -> int:
    """A TCP port that is free now. Another program may take it before it is used: whoever binds it tries again."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.bind((LOOPBACK, 0))
        port = probe.getsockname()[1]
    assert isinstance(port, int)
    return port
