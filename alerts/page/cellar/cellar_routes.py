"""The cellar at a glance: ``/``, and its data: ``/api/cellar``."""

from __future__ import annotations

__all__ = ["cellar_routes"]

from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from hashlib import sha256
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup

from alerts.page.cellar.board import Board
from alerts.page.cellar.cellar_answers import CellarAnswer
from alerts.page.cellar.cellar_pieces import with_ages
from alerts.page.cellar.event_routes import event_routes
from alerts.page.cellar.vessel_routes import vessel_routes
from alerts.page.context import PageContext
from alerts.page.errors import ErrorAnswer
from alerts.page.ways import card_of, enter_at, history_of, review_of
from alerts.so2.vessel_so2 import so2_inside
from alerts.so2.vessel_total import totals_inside
from alerts.view.places.cellar_json import cellar_json
from alerts.view.places.place_line import Note
from alerts.view.status import cellar_status
from ingest.cellar import Cellar, Vessel
from ingest.json_text import json_text
from ingest.machine_clock import even_time

# Not in the words of the machine's locale.
_WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS: Final = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


_LEGEND: Final = (
    (Note("high", "high", "high alarm", ""), "act at once"),
    (Note("medium", "medium", "medium alarm", ""), "see to it today"),
    (Note("low", "low", "low alarm", ""), "take note"),
    (Note("due", "low", "work due", ""), "something is to be done, such as a titration"),
    (Note("silent", "low", "silent", ""), "a probe has not reported for longer than it should"),
    (Note("muted", "quiet", "muted", ""), "a person has muted an alarm for a time"),
    (Note("open", "quiet", "racking", ""), "a racking was begun and not finished"),
    (Note("unknown", "quiet", "not watched", ""), "a part of leeside does not respond, so the state is not known"),
    (Note("order", "quiet", "in order", ""), "it is read and watched, and nothing is wrong"),
)


@dataclass(frozen=True, slots=True)
class _Shelf:
    """What the view has room for at a place: it stays the same while the cellar file does."""

    id: str
    kind: str
    name: str
    card: str
    ways: tuple[tuple[str, str], ...]
    probes: int


def layout_of(cellar: Cellar) -> str:
    """Name the layout of the view: it changes with the cellar file."""
    return sha256(cellar.text.encode()).hexdigest()[:16]


def cellar_routes(context: PageContext) -> APIRouter:
    """Make the routes of the cellar view, its events, and the cards that share its pieces."""
    routes = APIRouter()
    cellar = context.cellar
    board = Board(context)
    routes.include_router(event_routes(board, layout_of(cellar)))
    routes.include_router(vessel_routes(context, board, layout_of(cellar)))
    shelves = _shelves(cellar)

    @routes.get("/", response_class=HTMLResponse, include_in_schema=False)
    def cellar_page(request: Request) -> HTMLResponse:
        snapshot = board.fresh()

        def piece(id: str) -> Markup:
            # The pieces were escaped when they were made.
            return Markup(with_ages(snapshot.pieces[id], snapshot.at_ms))  # noqa: S704

        return context.page(
            request,
            "cellar.html",
            title=snapshot.title,
            snapshot=snapshot,
            since=f"{board.boot}-{snapshot.seq}",
            layout=layout_of(cellar),
            places=shelves,
            legend=_LEGEND,
            piece=piece,
            day=_day(snapshot.at_ms, cellar.site.zone),
        )

    @routes.get(
        "/api/cellar",
        response_class=Response,
        responses={200: {"model": CellarAnswer}, 503: {"model": ErrorAnswer}},
        tags=["cellar"],
        summary="The cellar as it stands",
    )
    def cellar_data() -> Response:
        """Every place with its newest readings, what it holds, SO2 and gas; alarms; how leeside is."""
        now_ms = context.clock()
        with context.read() as store:
            status = cellar_status(cellar, store, now_ms, even_time())
            so2, totals = so2_inside(cellar, store, now_ms), totals_inside(cellar, store, now_ms)
        return Response(json_text(cellar_json(status, cellar, so2, totals)), media_type="application/json")

    return routes


def _shelves(cellar: Cellar) -> list[_Shelf]:
    shelves = []
    for place in cellar.places:
        is_vessel = isinstance(place, Vessel)
        ways = [(history_of(place.id), "history"), (enter_at(place.id), "write down")]
        if is_vessel:
            ways.append((review_of(place.id), "review"))
        kind = cellar.place_kind(place.id)
        shelves.append(
            _Shelf(
                id=place.id,
                kind=kind,
                name=(place.name or "") if isinstance(place, Vessel) else "",
                card=card_of(kind, place.id),
                ways=tuple(ways),
                probes=len(cellar.probes_at(place.id)),
            )
        )
    return shelves


def _day(at_ms: int, zone: tzinfo) -> str:
    moment = datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone)
    return f"{_WEEKDAYS[moment.weekday()]}, {moment.day} {_MONTHS[moment.month - 1]} {moment.year}"
