"""A server that takes one connection and does with it what the test says: for what no real server can be made to do."""

from __future__ import annotations

__all__ = ["rude_server"]

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def rude_server(speak: Callable[[socket.socket], None]) -> Iterator[int]:
    """The port of the server, which speaks until it is done or the other side has had enough."""
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            connection, _ = listener.accept()
            with connection:
                try:
                    speak(connection)
                except OSError:
                    pass  # the other side has had enough

        thread = threading.Thread(target=serve)
        thread.start()
        yield listener.getsockname()[1]
        thread.join(10)
        assert not thread.is_alive()
