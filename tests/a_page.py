"""The page asked as a program asks it, without a network: the app in the test's own event loop."""

from __future__ import annotations

__all__ = ["ADDRESS", "PASSWORD", "PASSWORD_HASH", "Asker", "asker", "hidden_token"]

import re
from collections.abc import Callable
from pathlib import Path
from typing import Final

import httpx
from a_store import NOW
from anyio.from_thread import BlockingPortal, start_blocking_portal
from fastapi import FastAPI

from alerts.page.app import make_app
from alerts.page.doors.passwords import hash_of
from alerts.page.doors.tokens import TOKEN_HEADER
from ingest.cellar import Cellar

ADDRESS: Final = "http://127.0.0.1:8420"
PASSWORD: Final = "four dry words here"
# Made once: it costs a tenth of a second.
PASSWORD_HASH: Final = hash_of(PASSWORD)


class Asker:
    """A visitor with cookies of its own. Close it in the end, or use it in a block."""

    def __init__(self, app: FastAPI, *, client: str = "127.0.0.1", base_url: str = ADDRESS) -> None:
        self.app = app
        self._portal_block = start_blocking_portal()
        self._portal: BlockingPortal = self._portal_block.__enter__()
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False, client=(client, 4321))
        self._client = httpx.AsyncClient(transport=transport, base_url=base_url)

    @property
    def cookies(self) -> httpx.Cookies:
        return self._client.cookies

    def __call__(self, method: str, path: str, **how: object) -> httpx.Response:
        """Ask, as ``httpx.Client.request`` does. Redirects are not followed."""

        async def ask() -> httpx.Response:
            return await self._client.request(method, path, **how)  # type: ignore[arg-type]  # a test's keywords

        return self._portal.call(ask)

    def get(self, path: str, **headers: str) -> httpx.Response:
        return self("GET", path, headers={name.replace("_", "-"): value for name, value in headers.items()})

    def token(self) -> str:
        """Give the token that this visitor may write with."""
        return str(self.get("/api/session").json()["token"])

    def post(self, path: str, body: object = None, **headers: str) -> httpx.Response:
        """Write as a program does: JSON, with the token."""
        return self("POST", path, json=body, headers={TOKEN_HEADER: self.token(), **headers})

    def log_in(self, password: str = PASSWORD) -> httpx.Response:
        return self.post("/api/session", {"password": password})

    def __enter__(self) -> Asker:
        return self

    def __exit__(self, *exc: object) -> None:
        self._portal.call(self._client.aclose)
        self._portal_block.__exit__(None, None, None)


def asker(
    cellar: Cellar,
    *,
    password_hash: str | None = None,
    sessions_file: Path | None = None,
    clock: Callable[[], int] = lambda: NOW,
    client: str = "127.0.0.1",
    base_url: str = ADDRESS,
) -> Asker:
    """Make the page of a cellar and somebody who asks it."""
    app = make_app(cellar, clock, password_hash=password_hash, sessions_file=sessions_file)
    return Asker(app, client=client, base_url=base_url)


def hidden_token(html: str) -> str:
    """Find the token in the text of a page."""
    found = re.search(r'name="leeside-token" content="([0-9a-f]+)"', html)
    assert found is not None, html
    return found[1]
