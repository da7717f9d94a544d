"""Alarms: ``/alarms`` lists them, and takes what a person does about them."""

from __future__ import annotations

__all__ = ["alarm_routes"]

from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from alerts.errors import ShelvingRefused, UnknownLimit
from alerts.page.alarms.alarm_acts import AlarmActs, WrittenRequests
from alerts.page.alarms.who import keep_who, who_of
from alerts.page.context import PageContext
from alerts.page.ways import card_of
from alerts.view.alarms.limit_lines import limit_words
from alerts.view.alarms.muted_lines import mute_text
from alerts.view.format import duration_text
from alerts.view.places.place_line import alarm_note
from alerts.view.status import AlarmStatus, cellar_status
from alerts.watch.shelving import is_overpressure, longest_s
from ingest.errors import TextRefused
from ingest.machine_clock import even_time

_SPANS_S: Final = (900, 1800, 3600, 4 * 3600, 12 * 3600, 86_400, 3 * 86_400, 7 * 86_400)
_USUAL_SPAN_S: Final = 3600
_OUT: Final = "out"
_MOST_ASKED: Final = 100

_Names = Annotated[list[str], Form(max_length=_MOST_ASKED)]
_Text = Annotated[str, Form()]
# The numbers of rows are exact in every program.
_Number = Annotated[int, Query(ge=1, le=2**52)]


def alarm_routes(context: PageContext) -> APIRouter:
    """Make the routes of alarms."""
    routes = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    cellar, acts = context.cellar, AlarmActs(context)
    zone, units = cellar.site.zone, cellar.site.units
    kinds = {place.id: place.kind for place in cellar.places}
    writes = [Depends(context.tokens.check)]

    def card(at: str) -> str:
        return card_of(kinds[at], at) if at in kinds else ""

    def list_page(
        request: Request,
        *,
        said: list[str] | None = None,
        problem: str = "",
        code: int = 200,
        who: str | None = None,
        is_other: bool = False,
    ) -> HTMLResponse:
        now_ms = context.clock()
        with context.read() as store:
            status = cellar_status(cellar, store, now_ms, even_time())
        known = who_of(request) if who is None else who
        return context.page(
            request,
            "alarms.html",
            title=_title(status.alarms),
            status_code=code,
            alarms=[
                (alarm, alarm_note(alarm, zone, units, now_ms, kinds.get(alarm.at, ""))) for alarm in status.alarms
            ],
            waiting=sum(alarm.state != "acknowledged" for alarm in status.alarms),
            muted=[(each, mute_text(each.alarm, zone, now_ms)) for each in status.muted],
            unwatched=[daemon.role for daemon in status.daemons if daemon.role == "alerts" and not daemon.responds],
            card=card,
            said=said or [],
            problem=problem,
            who=known,
            is_known=bool(known) and not is_other and not problem,
            people=[person.id for person in cellar.person],
        )

    def done(asked: WrittenRequests, who: str) -> Response:
        acts.wait_a_while(asked)
        response = RedirectResponse("/alarms?" + urlencode([("asked", event) for event in asked.events]), 303)
        keep_who(response, who)
        return response

    @routes.get("/alarms")
    def alarms_page(
        request: Request,
        asked: Annotated[list[_Number] | None, Query(max_length=_MOST_ASKED)] = None,
        other: bool = False,
    ) -> Response:
        return list_page(request, said=acts.outcomes(asked) if asked else None, is_other=other)

    @routes.post("/alarms/acknowledge", dependencies=writes)
    def acknowledge(
        request: Request,
        alarm: Annotated[list[str] | None, Form(max_length=_MOST_ASKED)] = None,
        who: _Text = "",
        note: _Text = "",
        everything: _Text = "",
    ) -> Response:
        names = list(dict.fromkeys(alarm or ()))
        if bool(names) == bool(everything):
            return list_page(request, problem="Say which alarms you have seen, or all.", code=422, who=who)
        if not who.strip():
            return list_page(request, problem=_NO_NAME, code=422, who=who)
        try:
            return done(acts.acknowledge(names, who.strip(), note.strip()), who.strip())
        except (UnknownLimit, TextRefused) as error:
            return list_page(request, problem=str(error), code=422, who=who)

    @routes.post("/alarms/unshelve", dependencies=writes)
    def unshelve(request: Request, limit: _Names, who: _Text = "", note: _Text = "") -> Response:
        if not who.strip():
            return list_page(request, problem=_NO_NAME, code=422, who=who)
        try:
            return done(acts.unshelve(list(dict.fromkeys(limit)), who.strip(), note.strip()), who.strip())
        except (UnknownLimit, TextRefused) as error:
            return list_page(request, problem=str(error), code=422, who=who)

    def shelve_form(
        request: Request, name: str, *, problem: str = "", code: int = 200, given: dict[str, str] | None = None
    ) -> HTMLResponse:
        target, limits = acts.limit(name)
        if target.limit is None:
            raise UnknownLimit(f"the limit {target.key} is no longer in the cellar file")
        longest = longest_s(target.limit, limits)
        spans = [(str(span), duration_text(span)) for span in _SPANS_S if span <= longest]
        if not is_overpressure(target.limit, limits):
            spans.append((_OUT, "without an end: out of service, until somebody ends it"))
        return context.page(
            request,
            "shelve.html",
            title="Mute",
            status_code=code,
            limit=target.limit,
            words=limit_words(target.limit),
            longest=duration_text(longest),
            spans=spans,
            given=given or {"span": str(_USUAL_SPAN_S), "until": "", "why": "", "who": who_of(request)},
            problem=problem,
            people=[person.id for person in cellar.person],
        )

    @routes.get("/alarms/shelve")
    def shelve_page(request: Request, limit: Annotated[str, Query(max_length=300)]) -> Response:
        return shelve_form(request, limit)

    @routes.post("/alarms/shelve", dependencies=writes)
    def shelve(
        request: Request, limit: _Text, span: _Text = "", until: _Text = "", why: _Text = "", who: _Text = ""
    ) -> Response:
        given = {"span": span, "until": until, "why": why, "who": who}
        if not who.strip():
            return shelve_form(request, limit, problem=_NO_NAME, code=422, given=given)
        try:
            span_s = acts.span_until(until) if until.strip() else _span_s(span)
            return done(acts.shelve([limit], span_s, why.strip(), who.strip()), who.strip())
        except (ShelvingRefused, TextRefused) as error:
            problem = str(error)
            return shelve_form(request, limit, problem=problem[:1].upper() + problem[1:], code=422, given=given)

    return routes


_NO_NAME: Final = "Say who you are: the alarm record keeps it."


def _span_s(span: str) -> float | None:
    """The span that was chosen in seconds, None for out of service. Raises ShelvingRefused."""
    if span == _OUT:
        return None
    if span not in {str(each) for each in _SPANS_S}:
        raise ShelvingRefused("choose for how long, or write until when", about="span")
    return float(span)


def _title(alarms: tuple[AlarmStatus, ...] | list[AlarmStatus]) -> str:
    standing = sum(alarm.state != "returned" for alarm in alarms)
    return "Alarms" if not standing else f"{standing} {'alarm' if standing == 1 else 'alarms'}"
