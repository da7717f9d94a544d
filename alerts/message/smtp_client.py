"""The standard library's SMTP, with a bound on each reply: how long it may be, and how long it may take.

On its own ``smtplib`` takes lines without end, and each byte may take the whole time-out.
"""

from __future__ import annotations

__all__ = ["LONGEST_REPLY_BYTES", "ReplyTooLong", "Smtp"]

import smtplib
import socket
import time
from typing import Final

# Lines of a reply have at most 512 bytes (RFC 5321, section 4.5.3.1.5); the longest, to EHLO, has some dozens.
LONGEST_REPLY_BYTES: Final = 64 * 1024
_PIECE_BYTES: Final = 4096


class ReplyTooLong(OSError):
    """A reply goes on beyond the bound."""


class _ReplyReader:
    """The file that ``smtplib`` reads replies from. The socket's time-out counts for a whole reply."""

    def __init__(self, wire: socket.socket) -> None:
        self._wire = wire
        self._ahead = b""
        self._read_bytes = 0
        self._deadline: float | None = None

    def begin(self) -> None:
        """A new reply is expected."""
        timeout_s = self._wire.gettimeout()
        self._deadline = None if timeout_s is None else time.monotonic() + timeout_s
        self._read_bytes = 0

    def readline(self, limit: int) -> bytes:
        """The next line, or as many bytes of it; empty at the connection's end. Raises OSError."""
        while b"\n" not in self._ahead and len(self._ahead) < limit:
            piece = self._receive()
            if not piece:
                break
            self._ahead += piece
        line = self._ahead[:limit]
        line = line[: line.find(b"\n") + 1] or line
        self._ahead = self._ahead[len(line) :]
        self._read_bytes += len(line)
        if self._read_bytes > LONGEST_REPLY_BYTES:
            raise ReplyTooLong(f"more than {LONGEST_REPLY_BYTES // 1024} KiB")
        return line

    def _receive(self) -> bytes:
        if self._deadline is None:
            return self._wire.recv(_PIECE_BYTES)
        timeout_s = self._wire.gettimeout()
        left_s = self._deadline - time.monotonic()
        if left_s <= 0:
            raise TimeoutError("the reply did not end in time")
        try:
            self._wire.settimeout(left_s)
            return self._wire.recv(_PIECE_BYTES)
        finally:
            self._wire.settimeout(timeout_s)

    def close(self) -> None:
        """Nothing is open here; ``smtplib`` closes the socket itself."""


class Smtp(smtplib.SMTP):
    """A connection to a mail server."""

    def getreply(self) -> tuple[int, bytes]:
        """Read the next reply. Raises as ``smtplib`` does, with a reply that is too long or too slow as the context."""
        if self.file is None and self.sock is not None:
            self.file = _ReplyReader(self.sock)
        if self.file is not None:
            self.file.begin()
        return super().getreply()
