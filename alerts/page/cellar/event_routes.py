"""The cellar view as it changes: ``/events`` in HTML for the page, ``/api/events`` for programs; server-sent events.

Source of the form: WHATWG, HTML standard, "Server-sent events".
"""

from __future__ import annotations

__all__ = ["EventStream", "event_routes"]

import asyncio
from collections.abc import Callable
from typing import Annotated, Any, Final

from fastapi import APIRouter, Header, Query
from fastapi.responses import JSONResponse, Response
from starlette.types import Receive, Scope, Send

from alerts.page.cellar.board import MOST_WATCHERS, Board, ShownCellar
from alerts.page.cellar.cellar_answers import CellarEvent
from alerts.page.errors import ErrorAnswer
from ingest.json_text import json_text
from ingest.times import iso_utc

# Between two events of a stream. A proxy keeps a connection that is silent for less than a minute (common practice,
# no source), and the page calls itself cut off after more than two of them.
_BEAT_S: Final = 10.0
_LONGEST_MARK: Final = 64
_LONGEST_ID: Final = 20
_SINCE = Annotated[str, Query(max_length=_LONGEST_MARK)]
# Whose pieces: those whose ids begin so.
_ONLY = Annotated[str, Query(max_length=_LONGEST_ID)]
_LAST = Annotated[str, Header(max_length=_LONGEST_MARK)]


class EventStream(Response):
    """Sends what has changed, and a beat where nothing has, until the visitor is gone.

    message: gives an event's name and data from a snapshot and the number of the one that was sent before, 0 for none.
    """

    media_type = "text/event-stream"

    def __init__(self, board: Board, sent: int, message: Callable[[ShownCellar, int], tuple[str, Any]]) -> None:
        super().__init__(headers={"X-Accel-Buffering": "no"})
        del self.headers["content-length"]
        self._board = board
        self._sent = sent
        self._message = message

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request; 503 where too many watch already."""
        watcher = self._board.join(asyncio.get_running_loop())
        if watcher is None:
            busy = {"error": f"{MOST_WATCHERS} visitors watch the cellar already; close a window that nobody looks at"}
            await JSONResponse(busy, status_code=503, headers={"Retry-After": "30"})(scope, receive, send)
            return
        gone = asyncio.ensure_future(_until_gone(receive))
        try:
            await send({"type": "http.response.start", "status": 200, "headers": self.raw_headers})
            while not gone.done():
                watcher.news.clear()
                await send({"type": "http.response.body", "body": self._next(), "more_body": True})
                news = asyncio.ensure_future(watcher.news.wait())
                try:
                    await asyncio.wait({news, gone}, timeout=_BEAT_S, return_when=asyncio.FIRST_COMPLETED)
                finally:
                    news.cancel()
        finally:
            gone.cancel()
            self._board.leave(watcher)

    def _next(self) -> bytes:
        snapshot = self._board.snapshot
        name, data = ("beat", {}) if snapshot.seq == self._sent else self._message(snapshot, self._sent)
        self._sent = snapshot.seq
        data = {"at": iso_utc(self._board.now_ms()), **data}
        # JSON has no line break of its own outside strings, and none inside them.
        text = json_text(data)
        return f"id: {self._board.boot}-{snapshot.seq}\nevent: {name}\ndata: {text}\n\n".encode()


async def _until_gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


def event_routes(board: Board, layout: str) -> APIRouter:
    """Make the routes of events. layout: names how the page is laid out, so that one of another layout loads again."""
    routes = APIRouter()

    def sent_of(mark: str) -> int:
        """How far a visitor has come, by the mark of its last event; 0 for none, and for one of another process."""
        boot, _, seq = mark.partition("-")
        return int(seq) if boot == board.boot and seq.isascii() and seq.isdigit() else 0

    @routes.get("/events", include_in_schema=False)
    async def view_events(since: _SINCE = "", last_event_id: _LAST = "", only: _ONLY = "") -> Response:
        def message(snapshot: ShownCellar, sent: int) -> tuple[str, Any]:
            pieces = {
                id: html for id, html in snapshot.pieces.items() if snapshot.changed[id] > sent and id.startswith(only)
            }
            data = {"now": snapshot.at_ms, "time": snapshot.time, "title": snapshot.title, "layout": layout}
            return "pieces", {**data, "trouble": snapshot.trouble, "pieces": pieces}

        return EventStream(board, sent_of(last_event_id or since), message)

    @routes.get(
        "/api/events",
        response_class=Response,
        responses={
            200: {
                "content": {"text/event-stream": {"schema": {"type": "string"}}},
                "description": "server-sent events without an end: `cellar`, whose data is a `CellarEvent`, whenever "
                "something in the cellar has changed, and `beat` at least every 10 s",
            },
            503: {"model": ErrorAnswer},
        },
        tags=["cellar"],
        summary="Each change, when it happens",
    )
    async def cellar_events(last_event_id: _LAST = "") -> Response:
        """Say which places have changed; ask `/api/cellar` or `/api/vessels/{id}` for how they are now."""

        def message(snapshot: ShownCellar, sent: int) -> tuple[str, Any]:
            status = snapshot.status
            if status is None:
                return "beat", {}
            numbers = {id.partition("-")[0] for id, changed in snapshot.changed.items() if changed > sent}
            places = [place.id for index, place in enumerate(status.places) if f"p{index}" in numbers]
            event = CellarEvent(
                at=iso_utc(snapshot.at_ms),
                changed=places,
                alarms=[alarm.occurrence for alarm in status.alarms],
                all_well=status.all_well,
                trouble=snapshot.trouble or None,
            )
            return "cellar", event.model_dump()

        return EventStream(board, sent_of(last_event_id), message)

    return routes
