"""How large a request may be, and how long it may take to arrive."""

from __future__ import annotations

__all__ = ["LARGEST_REQUEST", "RequestBounds"]

import asyncio
from typing import Final

from fastapi import HTTPException
from fastapi.responses import JSONResponse
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from alerts.page.connections import LONGEST_REQUEST_S

# The longest form, a test day of fifty vessels with remarks, has some 50 kB.
LARGEST_REQUEST: Final = 1_000_000


class RequestBounds:
    """Refuses a request whose content is too large (413) or takes too long (408)."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        size, is_whole, is_begun = 0, False, False
        deadline = asyncio.get_running_loop().time() + LONGEST_REQUEST_S

        async def receive_some() -> Message:
            nonlocal size, is_whole
            if is_whole:
                return await receive()  # waits until the visitor goes
            try:
                async with asyncio.timeout_at(deadline):
                    message = await receive()
            except TimeoutError:
                raise _refused(408, f"The request did not arrive within {LONGEST_REQUEST_S:g} s.") from None
            size += len(message.get("body", b""))
            if size > LARGEST_REQUEST:
                raise _too_large()
            is_whole = not message.get("more_body", False)
            return message

        async def send_on(message: Message) -> None:
            nonlocal is_begun
            is_begun = True
            await send(message)

        try:
            length = Headers(scope=scope).get("content-length", "0")
            if length.isdigit() and int(length) > LARGEST_REQUEST:
                raise _too_large()
            await self._app(scope, receive_some, send_on)
        except HTTPException as refusal:
            if not is_begun:
                answer = JSONResponse({"error": refusal.detail}, refusal.status_code, refusal.headers)
                await answer(scope, receive, send)


def _too_large() -> HTTPException:
    return _refused(413, f"The request is too large: at most {LARGEST_REQUEST // 1_000_000} MB is taken.")


def _refused(code: int, text: str) -> HTTPException:
    # What is still to come is not waited for.
    return HTTPException(code, text, {"Connection": "close"})
