"""The cellar at a glance: ``/``, and its data: ``/api/cellar``."""

from __future__ import annotations

__all__ = ["cellar_routes"]

from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from hashlib import sha256
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from alerts.page.board import Board
from alerts.page.cellar_pieces import with_ages
from alerts.page.context import PageContext
from alerts.page.event_routes import event_routes
from alerts.page.vessel_routes import vessel_routes
from alerts.page.ways import card_of, enter_at, history_of, review_of
from ingest.cellar import Cellar, Vessel

# Not in the words of the machine's locale.
_WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS: Final = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
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
            piece=piece,
            day=_day(snapshot.at_ms, cellar.site.zone),
        )

    return routes


def _shelves(cellar: Cellar) -> list[_Shelf]:
    shelves = []
    for place in cellar.places:
        ways = [(history_of(place.id), "history"), (enter_at(place.id), "write down")]
        is_vessel = isinstance(place, Vessel)
        kind = cellar.place_kind(place.id)
        shelves.append(
            _Shelf(
                id=place.id,
                kind=kind,
                name=(place.name or "") if isinstance(place, Vessel) else "",
                card=card_of(kind, place.id),
                ways=(*ways, (review_of(place.id), "review")) if is_vessel else tuple(ways),
                probes=len(cellar.probes_at(place.id)),
            )
        )
    return shelves


def _day(at_ms: int, zone: tzinfo) -> str:
    moment = datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone)
    return f"{_WEEKDAYS[moment.weekday()]}, {moment.day} {_MONTHS[moment.month - 1]} {moment.year}"
