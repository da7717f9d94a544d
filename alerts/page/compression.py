"""Answers that are sent smaller: the page's own files, numbers for charts, tables for other programs."""

from __future__ import annotations

__all__ = ["Compressed"]

from typing import Final

from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp, Receive, Scope, Send

# A page with a form is not among them: it repeats what an address says beside a token, and the length of its compressed
# text would give the token away bit by bit (CVE-2013-3587, "BREACH").
_PATHS: Final = ("/static/", "/api/history", "/history.csv")
_LEAST_BYTES: Final = 1000
# Half the time of the usual 9, for a few bytes more.
_LEVEL: Final = 5


class Compressed:
    """Compresses the answers of some paths for a browser that takes gzip; all others pass as they are."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app
        self._compressing = GZipMiddleware(app, minimum_size=_LEAST_BYTES, compresslevel=_LEVEL)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        chosen = scope["type"] == "http" and scope["path"].startswith(_PATHS)
        await (self._compressing if chosen else self._app)(scope, receive, send)
