"""Who writes: the name that a person gave last in this browser, offered in the next form."""

from __future__ import annotations

__all__ = ["keep_who", "who_of"]

from typing import Final
from urllib.parse import quote, unquote

from fastapi import Request, Response

_COOKIE: Final = "leeside-who"
_KEPT_S: Final = 400 * 24 * 3600


def who_of(request: Request) -> str:
    """Give the name, "" where none was given yet."""
    return unquote(request.cookies.get(_COOKIE, ""))


def keep_who(response: Response, who: str) -> None:
    """Let the browser keep a name."""
    response.set_cookie(_COOKIE, quote(who), max_age=_KEPT_S, httponly=True, samesite="strict")
