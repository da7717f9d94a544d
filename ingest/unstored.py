"""Readings on their way from ingest to alerts while the store takes none: a socket of this machine, no disk.

The kernel says which user sent a datagram; those of another one are dropped. What does not get through is sent again
with the next try, and what is lost here is not lost: the broker, or the ingest daemon's memory, has it for the store.
"""

from __future__ import annotations

__all__ = ["UnstoredReceiver", "UnstoredSender"]

import json
import os
import socket
import struct
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from typing import Final

from ingest.reading import Row

# Rows of one datagram: some 25 kB, far below what a socket's buffer holds.
ROWS_AT_ONCE: Final = 500
_LARGEST: Final = 1 << 17
# struct ucred: process, user, group.
_CREDENTIALS: Final = struct.Struct("3i")


def _address(store_path: Path) -> str:
    """An abstract address: it is no file, and vanishes with the process that has it."""
    name = sha256(str(store_path.absolute()).encode()).hexdigest()[:16]
    return f"\0leeside-unstored-{os.geteuid()}-{name}"


class UnstoredSender:
    """The ingest daemon's end."""

    def __init__(self, store_path: Path) -> None:
        self._address = _address(store_path)
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.setblocking(False)

    def send(self, rows: Sequence[Row]) -> int:
        """Send rows; give how many of them, from the front, got through."""
        for start in range(0, len(rows), ROWS_AT_ONCE):
            try:
                self._socket.sendto(json.dumps(rows[start : start + ROWS_AT_ONCE]).encode(), self._address)
            except OSError:  # nobody listens, or its buffer is full
                return start
        return len(rows)

    def close(self) -> None:
        """Close the socket."""
        self._socket.close()


class UnstoredReceiver:
    """The alerts daemon's end. Raises OSError where the address is taken."""

    def __init__(self, store_path: Path) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_PASSCRED, 1)
        try:
            self._socket.bind(_address(store_path))
        except OSError:
            self._socket.close()
            raise

    def receive(self) -> list[Row]:
        """Take what has come; never waits."""
        rows: list[Row] = []
        while True:
            try:
                payload, ancillary, _, _ = self._socket.recvmsg(_LARGEST, socket.CMSG_SPACE(_CREDENTIALS.size))
            except OSError:
                return rows
            if _sender(ancillary) == os.geteuid():
                rows += _rows(payload)

    def close(self) -> None:
        """Close the socket."""
        self._socket.close()


def _sender(ancillary: Sequence[tuple[int, int, bytes]]) -> int | None:
    for level, kind, data in ancillary:
        if (level, kind) == (socket.SOL_SOCKET, socket.SCM_CREDENTIALS):
            return int(_CREDENTIALS.unpack(data[: _CREDENTIALS.size])[1])
    return None


def _rows(payload: bytes) -> list[Row]:
    try:
        return [
            (int(series), int(at), float(number), int(quality)) for series, at, number, quality in json.loads(payload)
        ]
    except (ValueError, TypeError):
        return []
