"""The review before a racking or a bottling: ``/review/K1``, and the same as JSON."""

from __future__ import annotations

__all__ = ["review_routes"]

from typing import Annotated, Final

from fastapi import APIRouter, Depends, Path, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from alerts.errors import OutOfRange, ReviewRefused
from alerts.page.context import PageContext
from alerts.page.errors import ErrorAnswer
from alerts.page.review.print_size import print_sizes
from alerts.page.review.review_answers import ReviewAnswer
from alerts.page.review.review_request import NUMBERS, AskedReview, asked_review, check_vessel, reviewed, with_fields
from alerts.page.ways import card_of, review_of
from alerts.review import (
    ReviewVerdict,
    review_json,
    review_title,
)
from alerts.review.charts import charts_of
from alerts.review.review_lines import NO_WORK
from alerts.view.entries.advised_forms import About
from alerts.view.format import long_time
from ingest.json_text import json_text

_LONGEST_ID: Final = 200
_Id = Annotated[str, Path(max_length=_LONGEST_ID)]
_Asked = Annotated[AskedReview, Depends(asked_review)]
# Pictures of one minute are the same, so that they are drawn once.
_MINUTE_MS: Final = 60_000
# A shape beside the word of each verdict, as the cellar view has them.
_MARKS: Final = {
    ReviewVerdict.IN_ORDER: {"mark": "order", "tone": "calm", "seen": False, "past": False},
    ReviewVerdict.NOT_KNOWN: {"mark": "unknown", "tone": "low", "seen": False, "past": False},
    ReviewVerdict.TAKE_CARE: {"mark": "medium", "tone": "medium", "seen": False, "past": False},
    ReviewVerdict.DO_NOT: {"mark": "high", "tone": "high", "seen": False, "past": False},
}
_CHART_WORDS: Final = {
    "temperature": "Temperature of the last four weeks",
    "pressure": "Pressure since the last racking, as read and compensated, with its floors",
    "free_so2": "Free SO2: titrations, the estimate and its 80 % band",
}


def review_routes(context: PageContext) -> APIRouter:
    """Make the routes of reviews."""
    routes = APIRouter()
    cellar = context.cellar
    vessels = [vessel.id for vessel in cellar.vessel]

    @routes.get("/review/{vessel}", response_class=HTMLResponse, include_in_schema=False)
    def review_page(request: Request, vessel: _Id, asked: _Asked) -> HTMLResponse:
        check_vessel(cellar, vessel)
        now_ms = context.clock()
        found, wrong, wrong_of = None, "", ""
        try:
            with context.read() as store:
                found = reviewed(cellar, store, vessel, asked, now_ms)
        except OutOfRange as error:
            wrong, wrong_of = str(error), error.of
        except ReviewRefused as error:
            wrong = str(error)
        review = None if found is None else found.review
        return context.page(
            request,
            "review.html",
            title=f"Review of {vessel}" if review is None else review_title(review),
            status_code=400 if wrong else 200,
            at=long_time(now_ms, cellar.site.zone),
            vessel=vessel,
            asked=asked,
            review=review,
            marks=_MARKS,
            size=None if review is None else print_sizes(review),
            no_work=NO_WORK,
            wrong=wrong,
            wrong_field=next((each.name for each in NUMBERS if wrong_of in (each.name, *each.of)), wrong_of),
            numbers=[each for each in NUMBERS if each.work in ("", asked.purpose)],
            receivers=[each for each in vessels if each != vessel],
            charts=[] if found is None else [(name, _CHART_WORDS[name]) for name in charts_of(found.facts)],
            with_fields=with_fields,
            here=review_of(vessel),
            card=card_of("vessel", vessel),
            about=About(vessel, lot="" if found is None else found.facts.lot),
        )

    @routes.get(
        "/api/review/{vessel}",
        response_class=Response,
        responses={
            200: {"model": ReviewAnswer},
            400: {"model": ErrorAnswer},
            404: {"model": ErrorAnswer},
            503: {"model": ErrorAnswer},
        },
        tags=["review"],
        summary="What to know before a racking or a bottling",
    )
    def review_data(vessel: _Id, asked: _Asked) -> Response:
        """Each point with its verdict, reason and numbers, the work in order, and what to be careful of.

        Numbers come as text in the unit that their name ends in; an empty one counts as not given.
        """
        check_vessel(cellar, vessel)
        try:
            with context.read() as store:
                found = reviewed(cellar, store, vessel, asked, context.clock())
        except (OutOfRange, ReviewRefused) as error:
            return JSONResponse({"error": str(error)}, status_code=400)
        return Response(json_text(review_json(found.review)), media_type="application/json")

    return routes
