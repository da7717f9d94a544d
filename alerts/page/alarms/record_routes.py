"""The alarm record: ``/alarms/record`` shows what happened to alarms, newest first."""

from __future__ import annotations

__all__ = ["record_routes"]

from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse

from alerts.limits.limits_now import limits_now
from alerts.page.context import PageContext
from alerts.view.alarms.record_lines import record_tail
from ingest.store.alarms.alarm_record import TransitionRow, newest_transitions

_A_PAGE: Final = 100
# The numbers of rows are exact in every program.
_Number = Annotated[int, Query(ge=1, le=2**52)]


def record_routes(context: PageContext) -> APIRouter:
    """Make the route of the record."""
    routes = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    cellar = context.cellar
    zone, units = cellar.site.zone, cellar.site.units

    @routes.get("/alarms/record")
    def record_page(
        request: Request, under: Annotated[str, Query(max_length=300)] = "", before: _Number | None = None
    ) -> Response:
        now_ms = context.clock()
        with context.read() as store:
            limits = limits_now(cellar, store, now_ms)
            steps = newest_transitions(store, _A_PAGE + 1, before=before, under=under)
        shown = steps[:_A_PAGE]

        def happened(step: TransitionRow) -> str:
            return record_tail(step, limits, zone, units, now_ms).strip().removeprefix(": ")

        older = {"before": shown[-1][0], **({"under": under} if under else {})} if len(steps) > _A_PAGE else None
        return context.page(
            request,
            "record.html",
            title="Alarm record",
            steps=[
                (step, record_tail(step, limits, zone, units, now_ms).strip().removeprefix(": ")) for _, step in shown
            ],
            under=under,
            places=[place.id for place in cellar.places],
            older=urlencode(older) if older else "",
            is_newest=before is None,
        )

    return routes
