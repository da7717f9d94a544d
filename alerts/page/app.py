"""The page put together: its views, the door in front of them, and what every answer carries."""

from __future__ import annotations

__all__ = ["make_app"]

import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Final

from fastapi import FastAPI, Request
from fastapi.middleware.trustedhost import TrustedHostMiddleware
from fastapi.responses import JSONResponse
from starlette.staticfiles import StaticFiles

from alerts.page.calendar_routes import calendar_routes
from alerts.page.cellar_routes import cellar_routes
from alerts.page.compression import Compressed
from alerts.page.context import PageContext
from alerts.page.entry_routes import entry_routes
from alerts.page.headers import SecurityHeaders
from alerts.page.history_routes import history_routes
from alerts.page.journal_routes import journal_routes
from alerts.page.tokens import Tokens
from ingest.cellar import Cellar
from ingest.errors import StoreError

# Each makes the routes of one view of a context.
_VIEWS: Final = (cellar_routes, entry_routes, journal_routes, calendar_routes, history_routes)


def make_app(cellar: Cellar, clock: Callable[[], int]) -> FastAPI:
    """Make the page of a cellar. clock: gives UTC ms. Each request opens the store for itself."""
    app = FastAPI(title="leeside", docs_url=None, redoc_url=None, openapi_url="/api/openapi.json")
    # A foreign web site must not read the page through a name of its own that leads to this machine.
    hosts = {"127.0.0.1", "localhost", "[::1]", cellar.page.host if cellar.page else "127.0.0.1"}
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=sorted(hosts))
    app.add_middleware(Compressed)
    app.add_middleware(SecurityHeaders)
    context = PageContext(cellar, clock, Tokens(secrets.token_bytes(32)))
    for view in _VIEWS:
        app.include_router(view(context))
    app.mount("/static", StaticFiles(directory=Path(__file__).parent / "static"), name="static")

    @app.exception_handler(StoreError)
    def store_trouble(request: Request, error: Exception) -> JSONResponse:
        return JSONResponse({"error": str(error)}, status_code=503)

    return app
