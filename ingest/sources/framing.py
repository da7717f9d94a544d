"""Lines of a serial instrument: bytes in as they come, whole lines out.

A line exists only once its terminator has arrived: what a time-out cut off is not a line, or ``21.`` and ``50`` would
be read as two values. Instruments end lines with LF, CR LF, CR alone or LF CR. Each CR and each LF ends a line here,
and empty lines say nothing and are left out; so all four come out alike, however the bytes were cut into chunks.
"""

from __future__ import annotations

__all__ = ["DEFAULT_LINE_LIMIT", "LineFramer"]

# Bytes. Several times the longest line that an instrument is known to send; common practice, no source.
DEFAULT_LINE_LIMIT = 256


class LineFramer:
    """Cuts a stream of bytes into lines.

    limit: longest line in bytes, terminator not counted; a longer one is dropped up to the next terminator.
    fresh: the port was just opened, perhaps in the middle of a line: what comes before the first terminator is dropped.

    ``dropped_fragments`` and ``overlong`` count what was dropped.
    """

    def __init__(self, limit: int = DEFAULT_LINE_LIMIT, *, fresh: bool = True) -> None:
        if limit < 1:
            raise ValueError(f"a line limit of {limit} bytes; at least 1 is needed")
        self._limit = limit
        self._partial = bytearray()
        self._in_fragment = fresh
        self._in_overlong = False
        self.dropped_fragments = 0
        self.overlong = 0

    def restart(self, *, fresh: bool = True) -> None:
        """Forget the line in progress; the counters stay.

        fresh: what comes next may begin in the middle of a line, because the port was opened again. False after an
        instrument that speaks only when asked was asked: its answer begins with the first byte.
        """
        self._partial.clear()
        self._in_fragment = fresh
        self._in_overlong = False

    def feed(self, data: bytes) -> list[bytes]:
        """Take the next bytes; give the lines that they completed, without terminators, bytes as they came."""
        *ended, rest = data.replace(b"\r", b"\n").split(b"\n")
        lines = []
        for piece in ended:
            line = self._end_line(piece)
            if line:
                lines.append(line)
        self._extend(rest)
        return lines

    def _extend(self, piece: bytes) -> None:
        """More of the line in progress."""
        if self._in_overlong or not piece:
            return
        if self._in_fragment:
            # One byte is enough to know later that there was a fragment, however long it is.
            self._partial[:] = piece[:1]
            return
        self._partial += piece
        if len(self._partial) > self._limit:
            self._partial.clear()
            self._in_overlong = True
            self.overlong += 1

    def _end_line(self, piece: bytes) -> bytes:
        """The line in progress with its last piece; empty if there is nothing to hand on."""
        self._extend(piece)
        line = bytes(self._partial)
        self._partial.clear()
        if self._in_fragment:
            self._in_fragment = False
            self.dropped_fragments += bool(line)
            return b""
        if self._in_overlong:
            self._in_overlong = False
            return b""
        return line
