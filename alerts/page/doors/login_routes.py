"""Logging in and out: ``/login`` and ``/logout`` for people, ``/api/session`` for programs."""

from __future__ import annotations

__all__ = ["LogIn", "login_routes"]

import asyncio
import logging
import math
import time
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel, Field

from alerts.page.context import PageContext
from alerts.page.doors.attempts import AttemptLimit
from alerts.page.doors.door import open_to_all, session_of
from alerts.page.doors.known_browsers import KnownBrowsers
from alerts.page.doors.passwords import LONGEST, is_password
from alerts.page.doors.sessions import SESSION_COOKIE, SESSION_DAYS, Sessions
from alerts.page.errors import ErrorAnswer

log = logging.getLogger("page")

_WRONG = "That is not the password."


class PasswordGiven(BaseModel):
    """What a program logs in with."""

    password: str = Field(max_length=LONGEST, description="the password of the page")


class SessionAnswer(BaseModel):
    """How the caller stands. token: what a request that writes sends in the header X-Leeside-Token."""

    password_needed: bool = Field(description="whether this page asks for a password")
    logged_in: bool = Field(description="whether the caller's cookie belongs to a session")
    token: str = Field(description="for the header X-Leeside-Token of requests that write; belongs to the cookies")


@dataclass(frozen=True, slots=True)
class LogInRefused:
    """Why somebody was not logged in. wait_s: 0 for a wrong password, else how long no other one is looked at."""

    wait_s: int

    @property
    def text(self) -> str:
        """The refusal in words."""
        if not self.wait_s:
            return _WRONG
        return f"There were too many tries. Wait {self.wait_s} s, then try again."


class LogIn:
    """Tries passwords, one after the other, so that a flood of them costs one thread and the memory of one hash."""

    def __init__(self, password_hash: str, sessions: Sessions) -> None:
        self._hash = password_hash
        self._sessions = sessions
        self._limit = AttemptLimit()
        self.known_browsers = KnownBrowsers(sessions.key, password_hash)
        self._turn = asyncio.Semaphore(1)

    async def log_in(self, request: Request, password: str, now_ms: int) -> str | LogInRefused:
        """Return the secret of a new session, or why there is none."""
        address = request.client.host if request.client else ""
        known = self.known_browsers.known(request, now_ms)
        wait_s = self._limit.wait_s(address, time.monotonic(), known)
        if wait_s > 0:
            return LogInRefused(math.ceil(wait_s))
        async with self._turn:
            is_right = await run_in_threadpool(is_password, self._hash, password)
        if not is_right:
            log.warning("somebody at %s tried a wrong password", address or "an unknown address")
            return LogInRefused(0)
        self._limit.succeeded(address, known)
        log.info("somebody at %s logged in", address or "an unknown address")
        return await run_in_threadpool(self._sessions.begin, now_ms)


def login_routes(context: PageContext, sessions: Sessions, log_in: LogIn | None) -> APIRouter:
    """Make the routes. log_in: None where the page has no password."""
    routes = APIRouter()
    writes = [Depends(context.tokens.check)]

    def sheet(request: Request, next_path: str, problem: str = "", code: int = 200) -> HTMLResponse:
        return context.page(
            request,
            "login.html",
            title="Log in",
            status_code=code,
            next=_safe(next_path),
            problem=problem,
            days=SESSION_DAYS,
        )

    def keep(log_in: LogIn, response: Response, request: Request, secret: str) -> None:
        _keep(response, request, secret)
        log_in.known_browsers.keep(response, request, context.clock())

    @routes.get("/login", response_class=HTMLResponse, include_in_schema=False)
    @open_to_all
    def login_page(request: Request, next: str = "/") -> Response:
        if log_in is None or sessions.holds(session_of(request.headers), context.clock()):
            return RedirectResponse(_safe(next), 303)
        return sheet(request, next)

    @routes.post("/login", response_class=HTMLResponse, include_in_schema=False, dependencies=writes)
    @open_to_all
    async def log_in_by_form(
        request: Request, password: Annotated[str, Form()] = "", next: Annotated[str, Form()] = "/"
    ) -> Response:
        if log_in is None:
            return RedirectResponse(_safe(next), 303)
        outcome = await log_in.log_in(request, password, context.clock())
        if isinstance(outcome, LogInRefused):
            response: Response = sheet(request, next, outcome.text, 429 if outcome.wait_s else 401)
            if outcome.wait_s:
                response.headers["Retry-After"] = str(outcome.wait_s)
            return response
        response = RedirectResponse(_safe(next), 303)
        keep(log_in, response, request, outcome)
        return response

    @routes.post("/logout", include_in_schema=False, dependencies=writes)
    @open_to_all
    def log_out(request: Request) -> Response:
        sessions.end(session_of(request.headers))
        response = RedirectResponse("/login", 303)
        response.delete_cookie(SESSION_COOKIE)
        return response

    def standing(request: Request, response: Response, secret: str) -> SessionAnswer:
        visit = context.tokens.visit_of(request)
        context.tokens.keep(response, request, visit)
        is_in = log_in is not None and sessions.holds(secret, context.clock())
        return SessionAnswer(password_needed=log_in is not None, logged_in=is_in, token=context.tokens.token_of(visit))

    @routes.get("/api/session", summary="Whether the caller is logged in, and the token for writing", tags=["session"])
    @open_to_all
    def session(request: Request, response: Response) -> SessionAnswer:
        return standing(request, response, session_of(request.headers))

    @routes.post(
        "/api/session",
        summary="Log in",
        tags=["session"],
        dependencies=writes,
        responses={401: {"model": ErrorAnswer}, 403: {"model": ErrorAnswer}, 429: {"model": ErrorAnswer}},
    )
    @open_to_all
    async def begin_session(request: Request, response: Response, given: PasswordGiven) -> SessionAnswer:
        if log_in is None:
            return standing(request, response, "")
        outcome = await log_in.log_in(request, given.password, context.clock())
        if isinstance(outcome, LogInRefused):
            if outcome.wait_s:
                raise HTTPException(429, outcome.text, {"Retry-After": str(outcome.wait_s)})
            raise HTTPException(401, outcome.text, {"WWW-Authenticate": 'Cookie realm="leeside"'})
        keep(log_in, response, request, outcome)
        return standing(request, response, outcome)

    @routes.delete(
        "/api/session",
        summary="Log out",
        tags=["session"],
        dependencies=writes,
        responses={403: {"model": ErrorAnswer}},
    )
    @open_to_all
    def end_session(request: Request, response: Response) -> SessionAnswer:
        sessions.end(session_of(request.headers))
        response.delete_cookie(SESSION_COOKIE)
        return standing(request, response, "")

    return routes


def _keep(response: Response, request: Request, secret: str) -> None:
    """Let the browser keep the secret of its session."""
    response.set_cookie(
        SESSION_COOKIE,
        secret,
        max_age=SESSION_DAYS * 86_400,
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )


def _safe(path: str) -> str:
    """Return where to go on after logging in: a path of this page, never another machine."""
    is_own = path.startswith("/") and not path.startswith("//") and "\\" not in path
    return path if is_own and path.isascii() and path.isprintable() else "/"
