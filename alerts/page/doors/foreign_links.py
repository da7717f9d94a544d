"""Links from elsewhere, such as from a mail: the browser asks once more, now with its cookies.

A browser sends no same-site cookie along a link of another site, so the visitor would look like one who is not logged
in. An answer that refreshes itself makes the same request again, and that one comes from the page.
"""

from __future__ import annotations

__all__ = ["ForeignLinks"]

from html import escape

from fastapi.responses import HTMLResponse
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send


class ForeignLinks:
    """Answers a request that follows a link of another site by one that asks again."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or let the browser repeat it."""
        if scope["type"] == "http" and scope["method"] == "GET":
            headers = Headers(scope=scope)
            site, mode = headers.get("sec-fetch-site"), headers.get("sec-fetch-mode")
            if mode == "navigate" and site in ("cross-site", "same-site") and "cookie" not in headers:
                query = scope["query_string"].decode("latin-1")
                # A path that began with // would lead to another machine.
                address = "/" + scope["raw_path"].decode("latin-1").lstrip("/") + ("?" + query if query else "")
                link = escape(address)
                await HTMLResponse(
                    f'<!doctype html><html lang="en"><title>leeside</title><p><a href="{link}">Go on</a></p></html>',
                    headers={"Refresh": f"0;url={address}"},
                )(scope, receive, send)
                return
        await self._app(scope, receive, send)
