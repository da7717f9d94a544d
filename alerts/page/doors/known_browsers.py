"""Browsers that have logged in before: each has tries of its own, so that a stranger's flood locks nobody out.

Whoever logs in gets a cookie that only this page can make. It opens nothing: with it a browser may only try the
password apart from all strangers (OWASP, "Slow Down Online Guessing Attacks with Device Cookies").
"""

from __future__ import annotations

__all__ = ["KNOWN_COOKIE", "KnownBrowsers"]

import hmac
import re
import secrets
from hashlib import sha256
from typing import Final

from fastapi import Request, Response

KNOWN_COOKIE: Final = "leeside-known"
# A browser keeps no cookie for longer (RFC 6265bis, section 5.5).
_DAYS: Final = 400
_FORM: Final = re.compile(r"([A-Za-z0-9_-]{22})\.([0-9]{1,15})\.([0-9a-f]{64})")


class KnownBrowsers:
    """Makes and knows the cookies. key: at least 32 random bytes; with another password_hash no browser is known."""

    def __init__(self, key: bytes, password_hash: str) -> None:
        self._key = key
        self._password = sha256(password_hash.encode()).digest()

    def known(self, request: Request, now_ms: int) -> str:
        """Give the mark of a browser that has logged in before, "" for any other. now_ms: UTC ms."""
        cookie = _FORM.fullmatch(request.cookies.get(KNOWN_COOKIE, ""))
        if cookie is None:
            return ""
        mark, end, proof = cookie.groups()
        is_made_here = hmac.compare_digest(proof, self._proof(mark, int(end)))
        return mark if is_made_here and int(end) > now_ms else ""

    def keep(self, response: Response, request: Request, now_ms: int) -> None:
        """Let a browser that has just logged in be known from now on, under a mark that nobody has seen before."""
        mark, end_ms = secrets.token_urlsafe(16), now_ms + _DAYS * 86_400_000
        response.set_cookie(
            KNOWN_COOKIE,
            f"{mark}.{end_ms}.{self._proof(mark, end_ms)}",
            max_age=_DAYS * 86_400,
            httponly=True,
            samesite="strict",
            secure=request.url.scheme == "https",
        )

    def _proof(self, mark: str, end_ms: int) -> str:
        return hmac.new(self._key, b"known\0" + self._password + f"{mark}.{end_ms}".encode(), sha256).hexdigest()
