"""An old broker: mosquitto behind a proxy that refuses MQTT 5 and passes MQTT 3.1.1 on unchanged."""

from __future__ import annotations

__all__ = ["OldBroker"]

import contextlib
import socket
import threading
from types import TracebackType

# CONNACK of MQTT 3.1.1, table 3.1: unacceptable protocol version.
_REFUSED = b"\x20\x02\x00\x01"
_LEVEL_AT = b"MQTT\x05"


class OldBroker:
    """A proxy for the broker at ``port``, on a port of its own; leaving the block closes every connection."""

    def __init__(self, port: int) -> None:
        self._behind = port
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self._sockets: list[socket.socket] = []
        self._threads = [threading.Thread(target=self._serve)]

    def _serve(self) -> None:
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            connect = client.recv(4096)  # a CONNECT is small and arrives in one piece on the loopback
            if _LEVEL_AT in connect[:16]:
                client.sendall(_REFUSED)
                client.close()
                continue
            behind = socket.create_connection(("127.0.0.1", self._behind))
            behind.sendall(connect)
            self._sockets += [client, behind]
            for pair in ((client, behind), (behind, client)):
                thread = threading.Thread(target=self._pass_on, args=pair)
                self._threads.append(thread)
                thread.start()

    @staticmethod
    def _pass_on(source: socket.socket, to: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                to.sendall(data)
        for end in (source, to):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def __enter__(self) -> OldBroker:
        self._threads[0].start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with contextlib.suppress(OSError):
            self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        for end in self._sockets:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join(10)
        for end in self._sockets:
            end.close()
