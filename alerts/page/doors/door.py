"""The door: if there is a password, only people who are logged in get further; what is not marked as open is closed."""

from __future__ import annotations

__all__ = ["Door", "OpenPaths", "open_to_all", "session_of"]

from collections.abc import Callable, Iterable
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final, TypeVar
from urllib.parse import quote

from fastapi import Response
from fastapi.responses import JSONResponse, RedirectResponse
from starlette.datastructures import Headers
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from alerts.page.doors.sessions import SESSION_COOKIE, Sessions

Endpoint = TypeVar("Endpoint", bound=Callable[..., Any])

_MARK: Final = "_leeside_open_to_all"


def open_to_all(endpoint: Endpoint) -> Endpoint:
    """Mark a route as open to people who have not logged in. Write it below ``@routes.get(...)``.

    Such a route checks by itself who asks: by a signature in its address, for example.
    """
    setattr(endpoint, _MARK, True)
    return endpoint


class OpenPaths:
    """Which requests go through the closed door: those of marked routes, and the page's own files."""

    def __init__(self) -> None:
        self._routes: list[Route] = []

    def add(self, routes: Iterable[BaseRoute]) -> None:
        """Take the marked ones of the routes."""
        self._routes += [route for route in routes if isinstance(route, Route) and hasattr(route.endpoint, _MARK)]

    def allows(self, method: str, path: str) -> bool:
        """Whether the request needs no session."""
        if path.startswith("/static/"):
            return method in ("GET", "HEAD")
        return any(
            route.path_regex.match(path) is not None and method in (route.methods or ()) for route in self._routes
        )


def session_of(headers: Headers) -> str:
    """Give the secret in the cookie of a request, "" without one."""
    try:
        morsel = SimpleCookie(headers.get("cookie", "")).get(SESSION_COOKIE)
    except CookieError:
        return ""
    return "" if morsel is None else morsel.value


class Door:
    """Lets through requests of people who are logged in, and what is open to all. clock: gives UTC ms.

    A browser is sent to ``/login``; a program gets 401. An answer that is still being sent
    when its session ends, such as a stream of events, ends too.
    """

    def __init__(self, app: ASGIApp, sessions: Sessions, open_paths: OpenPaths, clock: Callable[[], int]) -> None:
        self._app = app
        self._sessions = sessions
        self._open_paths = open_paths
        self._clock = clock

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or send it away."""
        if scope["type"] != "http" or self._open_paths.allows(scope["method"], scope["path"]):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        secret = session_of(headers)
        if not self._sessions.holds(secret, self._clock()):
            await _sent_away(scope, headers)(scope, receive, send)
            return
        is_over = False

        async def send_while_logged_in(message: Message) -> None:
            nonlocal is_over
            if is_over:
                return
            if message["type"] == "http.response.body" and message.get("more_body"):
                is_over = not self._sessions.holds(secret, self._clock())
                if is_over:
                    message = {"type": "http.response.body", "body": b"", "more_body": False}
            await send(message)

        await self._app(scope, receive, send_while_logged_in)


def _sent_away(scope: Scope, headers: Headers) -> Response:
    path: str = scope["path"]
    # A form that was sent after the session had ended is asked for again; the browser keeps what was filled in.
    if not path.startswith("/api/") and "text/html" in headers.get("accept", ""):
        query = scope["query_string"].decode("latin-1")
        asked = path + ("?" + query if query else "")
        return RedirectResponse("/login" if asked == "/" else "/login?next=" + quote(asked, safe=""), 303)
    return JSONResponse(
        {"error": "Log in first: at /login in a browser, or with POST /api/session from a program."},
        401,
        {"WWW-Authenticate": 'Cookie realm="leeside"'},
    )
