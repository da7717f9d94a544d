"""The client library, but it reads from the socket in large pieces.

On its own it asks the socket three times for each message, and each time gives the interpreter away to whichever
thread wants it. While the writer works on a flood, that made reading the slowest part: tests/benchmarks/mqtt.py.
"""

from __future__ import annotations

__all__ = ["ReadAheadClient"]

from paho.mqtt import client as paho

_PIECE_BYTES = 64 * 1024


class ReadAheadClient(paho.Client):
    """A client for one connection; ``buffered`` bytes are read already and cannot be seen by select.

    Should a later version of the library no longer read through the method that is replaced here, it reads as slowly
    as it did, and nothing else changes.
    """

    _ahead = b""
    _place = 0

    @property
    def buffered(self) -> int:
        """Bytes that were read from the socket and not yet made into packets."""
        return len(self._ahead) - self._place

    def _sock_recv(self, bufsize: int) -> bytes:
        place = self._place
        if place == len(self._ahead):
            # Raises BlockingIOError while there is nothing; gives b"" at the connection's end, as the socket does.
            self._ahead = super()._sock_recv(max(bufsize, _PIECE_BYTES))
            place = 0
        part = self._ahead[place : place + bufsize]
        self._place = place + len(part)
        return part
