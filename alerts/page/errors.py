"""What a visitor gets instead of what was asked for: a sheet in a browser, ``{"error": ...}`` in a program."""

from __future__ import annotations

__all__ = ["ERROR_ANSWERS", "ErrorAnswer", "Faults", "answer_errors", "wants_html"]

import logging
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from alerts.errors import NoAnswer, ShelvingRefused, UnknownLimit
from alerts.page.context import PageContext
from ingest.errors import StoreError, TextRefused

log = logging.getLogger("page")


class ErrorAnswer(BaseModel):
    """Why a request was not answered. error: what is wrong, what is allowed, what to do."""

    error: str


# What any address may answer, for the OpenAPI document.
ERROR_ANSWERS: Final[dict[int | str, dict[str, Any]]] = {
    "4XX": {"model": ErrorAnswer, "description": "what is wrong in the request, and what is allowed"},
    503: {"model": ErrorAnswer, "description": "leeside cannot answer now: the store, or the process that is asked"},
}
_CODES: Final[dict[type[Exception], int]] = {UnknownLimit: 404, ShelvingRefused: 400, TextRefused: 400, NoAnswer: 503}


def wants_html(request: Request) -> bool:
    """Whether a person asks, who is to get a sheet, and not a program."""
    return not request.url.path.startswith("/api/") and "text/html" in request.headers.get("accept", "")


def answer_errors(app: FastAPI, context: PageContext) -> None:
    """Let the app answer in these ways."""

    def answer(request: Request, code: int, text: str, headers: dict[str, str] | None = None) -> Response:
        if not wants_html(request):
            return JSONResponse({"error": text}, code, headers)
        page = context.page(
            request, "error.html", title=HTTPStatus(code).phrase, status_code=code, problem=text, code=code
        )
        page.headers.update(headers or {})
        return page

    @app.exception_handler(StoreError)
    def store_trouble(request: Request, error: Exception) -> Response:
        return answer(request, 503, str(error))

    def not_done(request: Request, error: Exception) -> Response:
        return answer(request, _CODES[type(error)], str(error))

    for kind in _CODES:
        app.add_exception_handler(kind, not_done)

    @app.exception_handler(HTTPException)
    def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        text = "There is no such page." if error.status_code == 404 and error.detail == "Not Found" else error.detail
        return answer(request, error.status_code, str(text), dict(error.headers or {}))

    @app.exception_handler(RequestValidationError)
    def not_understood(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        problems = (
            f"{'.'.join(str(part) for part in problem['loc'][1:]) or problem['loc'][0]}: {problem['msg']}"
            for problem in error.errors()
        )
        # A key of an object may hold half a character, which cannot be sent.
        return answer(request, 422, "; ".join(problems).encode("utf-8", "backslashreplace").decode("utf-8"))


class Faults:
    """Logs what nobody expected, and answers 500. One request that fails harms no other."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        is_begun = False

        async def send_on(message: Message) -> None:
            nonlocal is_begun
            is_begun = True
            await send(message)

        try:
            await self._app(scope, receive, send_on)
        except Exception:
            log.exception("a request for %s failed", scope.get("path"))
            if scope["type"] != "http" or is_begun:
                raise
            text = "Something went wrong in leeside; its log says more."
            await JSONResponse({"error": text}, 500)(scope, receive, send)
