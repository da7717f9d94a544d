"""The card of a vessel, a gas cylinder or a room: ``/vessel/K1``, ``/cylinder/N2``, ``/room/cellar``."""

from __future__ import annotations

__all__ = ["vessel_routes"]

from typing import Annotated, Final

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from markupsafe import Markup

from alerts.page.cellar.board import Board
from alerts.page.cellar.cellar_answers import CardAnswer
from alerts.page.cellar.cellar_pieces import with_ages
from alerts.page.context import PageContext
from alerts.page.errors import ErrorAnswer
from alerts.page.ways import card_of, enter_at, history_of, review_of
from alerts.view.entries.advised_forms import About
from alerts.view.places.card_words import card_words
from alerts.view.places.cellar_json import card_json
from alerts.view.places.vessel_card import known_vessels, vessel_cards
from ingest.cellar import nearest
from ingest.json_text import json_text
from ingest.times import iso_utc

_LONGEST_ID: Final = 200
_Id = Annotated[str, Path(max_length=_LONGEST_ID)]


def vessel_routes(context: PageContext, board: Board, layout: str) -> APIRouter:
    """Make the routes of cards. board: of the cellar view, which shares its pieces; layout: as ``event_routes``."""
    routes = APIRouter()
    cellar = context.cellar
    indexes = {place.id: index for index, place in enumerate(cellar.places)}
    kinds = {place.id: cellar.place_kind(place.id) for place in cellar.places}

    def page(request: Request, id: str, *, is_vessel: bool) -> HTMLResponse:
        with context.store() as store:
            with store.read():
                known = [each for each, kind in kinds.items() if card_of(kind, "").startswith(_prefix(request))]
                known = known_vessels(cellar, store) if is_vessel else known
            if id not in known:
                return _missing(context, request, id, known)
            snapshot = board.fresh()
            assert snapshot.status is not None  # a fresh one has it
            card = card_words(cellar, store, id, snapshot.status)
        # Of a vessel that left the cellar file there is only what was written down.
        index = indexes.get(id)

        def piece(name: str) -> Markup:
            # The pieces were escaped when they were made.
            return Markup(with_ages(snapshot.pieces[f"p{index}-{name}"], snapshot.at_ms))  # noqa: S704

        return context.page(
            request,
            "vessel.html",
            title=id,
            id=id,
            kind=kinds.get(id, "vessel of an earlier cellar file"),
            card=card,
            piece=piece,
            probes=[probe.id for probe in cellar.probes_at(id)] if index is not None else [],
            only=f"p{index}-",
            is_there=index is not None,
            is_vessel=is_vessel,
            snapshot=snapshot,
            since=f"{board.boot}-{snapshot.seq}",
            layout=layout,
            history=history_of(id),
            enter=enter_at(id),
            review=review_of(id),
            about=About(id, kinds.get(id, "")),
        )

    @routes.get("/vessel/{id}", response_class=HTMLResponse, include_in_schema=False)
    def vessel_page(request: Request, id: _Id) -> HTMLResponse:
        return page(request, id, is_vessel=True)

    @routes.get("/cylinder/{id}", response_class=HTMLResponse, include_in_schema=False)
    def cylinder_page(request: Request, id: _Id) -> HTMLResponse:
        return page(request, id, is_vessel=False)

    @routes.get("/room/{id}", response_class=HTMLResponse, include_in_schema=False)
    def room_page(request: Request, id: _Id) -> HTMLResponse:
        return page(request, id, is_vessel=False)

    @routes.get(
        "/api/vessels/{id}",
        response_class=Response,
        responses={200: {"model": CardAnswer}, 404: {"model": ErrorAnswer}, 503: {"model": ErrorAnswer}},
        tags=["cellar"],
        summary="A vessel's card",
    )
    def vessel_data(id: _Id) -> Response:
        """What a vessel holds, reads and has as SO2 and gas; of vessels of an earlier cellar file too."""
        now_ms = context.clock()
        with context.read() as store:
            known = known_vessels(cellar, store)
            if id not in known:
                there = f"there are: {', '.join(known)}" if known else "the cellar file has none"
                return JSONResponse({"error": f"no vessel '{id}'; {there}"}, status_code=404)
            card = vessel_cards(cellar, store, now_ms, [id])[0]
        answer = {"site": cellar.site.name, "at": iso_utc(now_ms), **card_json(card, cellar, now_ms)}
        return Response(json_text(answer), media_type="application/json")

    return routes


def _prefix(request: Request) -> str:
    """The first part of the path asked for: "/room"."""
    return "/" + request.url.path.split("/")[1]


def _missing(context: PageContext, request: Request, id: str, known: list[str]) -> HTMLResponse:
    near = nearest(id, known)
    what = _prefix(request)[1:]
    return context.page(
        request,
        "missing.html",
        title="Not there",
        status_code=404,
        what=what,
        id=id,
        near="" if near is None else near,
        known=[(card_of(what, each), each) for each in known],
    )
