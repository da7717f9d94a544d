"""Work that is due as a calendar that a phone subscribes to: ``/calendar/TOKEN.ics``.

A calendar program cannot log in, so the door lets this path through, and the address is the secret.
"""

from __future__ import annotations

__all__ = ["calendar_routes"]

from fastapi import APIRouter, Response
from fastapi.responses import PlainTextResponse

from alerts.calendar_feed import FEED_PATH, is_feed_token
from alerts.due_calendar import due_calendar
from alerts.limits.due_feed import due_limits_at
from alerts.page.context import PageContext
from alerts.page.doors.door import open_to_all


def calendar_routes(context: PageContext) -> APIRouter:
    """Make the route of the calendar."""
    routes = APIRouter()
    cellar = context.cellar
    page = (cellar.page.url or "") if cellar.page else ""

    @routes.get(FEED_PATH, include_in_schema=False)
    @open_to_all
    def calendar(token: str) -> Response:
        if not is_feed_token(cellar, token):
            why = "There is no calendar at this address. `leeside due --feed` prints the address."
            return PlainTextResponse(why, status_code=404)
        now_ms = context.clock()
        with context.read() as store:
            due = due_limits_at(cellar, store.connection, now_ms).values()
        return Response(due_calendar(due, cellar.site.name, cellar.site.zone, now_ms, page), media_type="text/calendar")

    return routes
