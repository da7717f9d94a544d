"""Acknowledging by a link from a message: ``/acknowledge/TOKEN`` asks once, and only the answer acknowledges.

So a mail scanner or a preview that visits the link changes nothing. The link itself says who asks, so the door lets it
through.
"""

from __future__ import annotations

__all__ = ["ack_routes"]

from typing import Final, NamedTuple

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from alerts.ack_link import ACK_PATH, AckLink, link_key, verified_link
from alerts.errors import AlertsError, LinkRefused, NoAnswer
from alerts.operator_requests import wait_for, write_down
from alerts.page.context import PageContext
from alerts.page.doors.door import open_to_all
from alerts.view.alarms.alarm_lines import alarm_line
from alerts.view.format import with_capital
from alerts.view.status import cellar_status
from ingest.errors import IngestError
from ingest.operator_event import OperatorEventKind, OperatorRequest
from ingest.store import Store
from ingest.store.alarms.operator_events import was_asked

_NOTE: Final = "by the link in a message"


class _Asked(NamedTuple):
    """What a link stands for now. refusal: why it is not good, "" where it is; line: the alarm."""

    link: AckLink | None = None
    line: str = ""
    refusal: str = ""


def ack_routes(context: PageContext) -> APIRouter:
    """Make the routes of the link."""
    routes = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    @routes.get(ACK_PATH)
    @open_to_all
    def ask(request: Request, token: str) -> Response:
        with context.read() as store:
            return _page(context, request, _asked(context, store, token))

    @routes.post(ACK_PATH, dependencies=[Depends(context.tokens.check)])
    @open_to_all
    def acknowledge(request: Request, token: str) -> Response:
        with context.store() as store:
            asked = _asked(context, store, token)
            if asked.link is None or asked.refusal:
                return _page(context, request, asked)
            link = asked.link
            wanted = OperatorRequest(OperatorEventKind.ACKNOWLEDGE, link.occurrence, _NOTE)
            try:
                events = write_down(store, [wanted], link.person, context.clock())
                (outcome,) = wait_for(store, [link.occurrence], events, context.clock)
            except IngestError as error:
                return _page(context, request, _Asked(link, asked.line, f"it could not be written down: {error}"))
            except NoAnswer as error:
                words = with_capital(f"{error} Until then, look at the cellar yourself.")
                return _page(context, request, asked, words, title="Written down")
            if not outcome.done:
                return _page(context, request, _Asked(link, asked.line, outcome.text))
            return _page(context, request, asked, with_capital(outcome.text))

    return routes


def _asked(context: PageContext, store: Store, token: str) -> _Asked:
    cellar, now_ms = context.cellar, context.clock()
    try:
        link = verified_link(link_key(cellar), token, now_ms, cellar.site.zone)
    except LinkRefused as error:
        return _Asked(refusal=str(error))
    except AlertsError as error:
        return _Asked(refusal=f"it cannot be checked: {error}")
    status = cellar_status(cellar, store, now_ms)
    alarm = next((each for each in status.alarms if each.occurrence == link.occurrence), None)
    if alarm is None:
        return _Asked(link, refusal=f"the alarm {link.occurrence} is over, and there is nothing to acknowledge")
    line = alarm_line(alarm, cellar.site.zone, cellar.site.units, now_ms)
    if alarm.state == "acknowledged":
        return _Asked(link, line, f"{alarm.acknowledged_by or 'somebody'} has acknowledged this alarm already")
    if was_asked(store, OperatorEventKind.ACKNOWLEDGE, link.occurrence, _NOTE):
        return _Asked(link, line, "this alarm was acknowledged by a link before; a link works only once")
    return _Asked(link, line)


def _page(
    context: PageContext, request: Request, asked: _Asked, outcome: str = "", title: str = "Acknowledged"
) -> Response:
    if not outcome:
        title = "Not acknowledged" if asked.refusal else "Acknowledge this alarm?"
    return context.page(
        request,
        "acknowledge.html",
        title=title,
        line=asked.line,
        person="" if asked.link is None else asked.link.person,
        refusal=with_capital(asked.refusal),
        outcome=outcome,
        status_code=410 if asked.refusal and asked.link is not None else 403 if asked.refusal else 200,
    )
