"""The page put together: its views, the door in front of them, and what every answer carries."""

from __future__ import annotations

__all__ = ["make_app"]

import socket
from collections.abc import Callable
from pathlib import Path
from typing import Final

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from alerts.page.alarms.ack_routes import ack_routes
from alerts.page.alarms.alarm_api import alarm_api
from alerts.page.alarms.alarm_routes import alarm_routes
from alerts.page.alarms.limit_routes import limit_routes
from alerts.page.alarms.record_routes import record_routes
from alerts.page.cellar.calendar_routes import calendar_routes
from alerts.page.cellar.cellar_routes import cellar_routes
from alerts.page.compression import Compressed
from alerts.page.context import PageContext
from alerts.page.doors.door import Door, OpenPaths
from alerts.page.doors.foreign_links import ForeignLinks
from alerts.page.doors.headers import SecurityHeaders
from alerts.page.doors.hosts import HostCheck, names_of
from alerts.page.doors.login_routes import LogIn, login_routes
from alerts.page.doors.request_bounds import RequestBounds
from alerts.page.doors.sessions import Sessions
from alerts.page.doors.tokens import Tokens
from alerts.page.entering.entry_data_routes import entry_data_routes
from alerts.page.entering.entry_routes import entry_routes
from alerts.page.entering.journal_routes import journal_routes
from alerts.page.entering.test_day_routes import test_day_routes
from alerts.page.entering.written_routes import written_routes
from alerts.page.errors import ERROR_ANSWERS, Faults, answer_errors
from alerts.page.history.history_routes import history_routes
from alerts.page.review.review_picture_routes import review_picture_routes
from alerts.page.review.review_routes import review_routes
from ingest.cellar import Cellar

# Each makes the routes of one view of a context.
_VIEWS: Final = (
    cellar_routes,
    ack_routes,
    entry_routes,
    written_routes,
    journal_routes,
    test_day_routes,
    entry_data_routes,
    calendar_routes,
    history_routes,
    alarm_routes,
    record_routes,
    limit_routes,
    alarm_api,
    review_routes,
    review_picture_routes,
)


def make_app(
    cellar: Cellar,
    clock: Callable[[], int],
    *,
    password_hash: str | None = None,
    sessions_file: Path | None = None,
) -> FastAPI:
    """Make the page of a cellar. Each request opens the store for itself.

    clock: gives UTC ms; password_hash: of the password that is asked for, None for none; sessions_file: where it is
    kept who is logged in, None for in memory.
    """
    app = FastAPI(
        title="leeside", docs_url=None, redoc_url=None, openapi_url="/api/openapi.json", responses=ERROR_ANSWERS
    )
    sessions = Sessions(sessions_file, password_hash)
    context = PageContext(cellar, clock, Tokens(sessions.key), can_log_out=password_hash is not None)
    log_in = None if password_hash is None else LogIn(password_hash, sessions)
    open_paths = OpenPaths()
    for routes in (login_routes(context, sessions, log_in), *(view(context) for view in _VIEWS)):
        open_paths.add(routes.routes)
        app.include_router(routes)
    app.mount("/static", StaticFiles(directory=Path(__file__).parent / "static"), name="static")
    answer_errors(app, context)
    # The last one is the first that a request meets.
    if password_hash is not None:
        app.add_middleware(Door, sessions=sessions, open_paths=open_paths, clock=clock)
    app.add_middleware(RequestBounds)
    app.add_middleware(ForeignLinks)
    names = names_of(cellar.page, socket.gethostname())
    is_open_to_network = cellar.page is not None and cellar.page.opened_by == "address"
    app.add_middleware(HostCheck, names=names, any_address=is_open_to_network)
    app.add_middleware(Faults)
    app.add_middleware(Compressed)
    app.add_middleware(SecurityHeaders)
    return app
