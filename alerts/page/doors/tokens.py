"""Who may write: a page that this server gave out to the same browser, and no other site.

A browser gets a random mark in a same-site cookie. A form carries a token that only this server can make of that mark,
in its field ``token``, and a script the same in the header ``X-Leeside-Token``. Another site can make a browser send
the cookie at worst, but never read the token (OWASP, Cross-Site Request Forgery Prevention, "signed
double submit cookie").
"""

from __future__ import annotations

__all__ = ["TOKEN_FIELD", "TOKEN_HEADER", "Tokens"]

import hmac
import secrets
from hashlib import sha256
from typing import Final

from fastapi import HTTPException, Request, Response

TOKEN_FIELD: Final = "token"  # noqa: S105  # the name of a field
TOKEN_HEADER: Final = "X-Leeside-Token"  # noqa: S105  # the name of a header
_COOKIE: Final = "leeside-visit"
_MOST_S: Final = 400 * 24 * 3600


class Tokens:
    """Makes and checks tokens. key: at least 32 random bytes."""

    def __init__(self, key: bytes) -> None:
        self._key = key

    def visit_of(self, request: Request) -> str:
        """Return the mark of the browser that asks, a new one if it has none."""
        mark = request.cookies.get(_COOKIE, "")
        return mark if len(mark) == 43 and mark.isascii() else secrets.token_urlsafe(32)

    def token_of(self, visit: str) -> str:
        """Return what a form of that browser must send along."""
        return hmac.new(self._key, b"write\0" + visit.encode(), sha256).hexdigest()

    def keep(self, response: Response, request: Request, visit: str) -> None:
        """Let the browser keep its mark."""
        if request.cookies.get(_COOKIE) != visit:
            secure = request.url.scheme == "https"
            response.set_cookie(_COOKIE, visit, max_age=_MOST_S, httponly=True, samesite="strict", secure=secure)

    async def check(self, request: Request) -> None:
        """Let a request through that may write. Raises HTTPException 403: a dependency of every route that writes."""
        sent = request.headers.get(TOKEN_HEADER, "")
        kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        if not sent and kind in ("application/x-www-form-urlencoded", "multipart/form-data"):
            # No form of the page takes a file.
            field = (await request.form(max_files=0)).get(TOKEN_FIELD)
            sent = field if isinstance(field, str) else ""
        expected = self.token_of(request.cookies.get(_COOKIE, ""))
        if not hmac.compare_digest(sent.encode(), expected.encode()) or _COOKIE not in request.cookies:
            raise HTTPException(
                403, "This request does not come from a page that leeside gave to this browser. Open the page again."
            )
