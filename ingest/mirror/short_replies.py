"""What the client library reads of a reply: its beginning, and only for so long. On its own it reads all of it."""

from __future__ import annotations

__all__ = ["LONGEST_REPLY_BYTES", "ShortReplies"]

import io
import time
from http.client import HTTPException
from typing import Any, Final, Protocol

import urllib3

# The words of an error fit many times.
LONGEST_REPLY_BYTES: Final = 64 * 1024
_PIECE_BYTES: Final = 16 * 1024
# Headers that are no longer true of what was kept of a body.
_OF_THE_WHOLE_BODY: Final = frozenset({"content-encoding", "content-length", "transfer-encoding"})


class _Pool(Protocol):
    """What sends the library's requests."""

    def request(self, method: str, url: str, **options: Any) -> urllib3.BaseHTTPResponse:
        """Send a request and return the reply."""

    def clear(self) -> None:
        """Close what is open."""


class ShortReplies:
    """Stands between the library and its connections. reply_s: the longest time for the body, in seconds.

    A reply that goes on beyond the bound is cut there, and its connection is closed.
    """

    def __init__(self, pool: _Pool, reply_s: float) -> None:
        self._pool = pool
        self._reply_s = reply_s

    def request(self, method: str, url: str, **options: Any) -> urllib3.HTTPResponse:
        """Send a request; the reply has the beginning of its body. Raises what urllib3 raises."""
        reply = self._pool.request(method, url, **{**options, "preload_content": False})
        assert isinstance(reply, urllib3.HTTPResponse)
        try:
            body = self._body(reply)
        except TimeoutError as error:
            reply.close()
            raise urllib3.exceptions.TimeoutError(str(error)) from error
        except (HTTPException, OSError) as error:
            reply.close()
            raise urllib3.exceptions.ProtocolError(str(error)) from error
        return urllib3.HTTPResponse(
            # Nobody asked for a packed body: a small one may stand for gigabytes, so it is left packed and not shown.
            body=io.BytesIO(b"" if "content-encoding" in reply.headers else body),
            headers={name: value for name, value in reply.headers.items() if name.lower() not in _OF_THE_WHOLE_BODY},
            status=reply.status,
            reason=reply.reason,
        )

    def clear(self) -> None:
        """Close what is open."""
        self._pool.clear()

    def _body(self, reply: urllib3.HTTPResponse) -> bytes:
        # The standard library's reader: the one of urllib3 reads a chunk's length without a bound.
        wire = reply._original_response
        assert wire is not None
        deadline = time.monotonic() + self._reply_s
        body = b""
        while piece := wire.read1(_PIECE_BYTES):
            body += piece
            if len(body) > LONGEST_REPLY_BYTES:
                reply.close()
                return body[:LONGEST_REPLY_BYTES].decode("utf-8", "ignore").encode()
            if time.monotonic() > deadline:
                raise TimeoutError("the reply did not end in time")
        reply.release_conn()
        return body
