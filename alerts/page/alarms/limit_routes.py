"""Limits: ``/limits`` shows each limit that is watched, where it comes from, and where it stands."""

from __future__ import annotations

__all__ = ["limit_routes", "statuses_of"]

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse

from alerts.limits.limits_now import limits_now
from alerts.page.context import PageContext
from alerts.view.alarms.limit_lines import (
    LimitStatus,
    deadband_text,
    limit_statuses,
    limit_words,
    limits_by_place,
    origin_words,
    raised_words,
    state_words,
)
from alerts.view.entries.advised_forms import about_limit
from alerts.view.format import duration_text
from ingest.store.alarms.alarm_record import alarm_rows, last_raised_ms, last_steps


def limit_routes(context: PageContext) -> APIRouter:
    """Make the route of limits."""
    routes = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    cellar = context.cellar
    kinds = {place.id: place.kind for place in cellar.places}

    @routes.get("/limits")
    def limits_page(request: Request, at: Annotated[str, Query(max_length=200)] = "") -> Response:
        now_ms = context.clock()
        chosen = [status for status in statuses_of(context) if at in ("", status.limit.at)]
        return context.page(
            request,
            "limits.html",
            title="Limits",
            groups=limits_by_place(cellar, chosen),
            at=at,
            places=[place.id for place in cellar.places],
            words=limit_words,
            deadband=deadband_text,
            delay=duration_text,
            standing=lambda status: state_words(status, cellar.site.zone, now_ms),
            raised=lambda status: raised_words(status, cellar.site.zone, now_ms),
            origin=origin_words,
            about=lambda limit: about_limit(limit, kinds.get(limit.at, "")),
        )

    return routes


def statuses_of(context: PageContext) -> list[LimitStatus]:
    """Read every limit that is watched now, and where it stands."""
    with context.read() as store:
        watched = limits_now(context.cellar, store, context.clock()).values()
        return limit_statuses(watched, alarm_rows(store), last_steps(store), last_raised_ms(store))
