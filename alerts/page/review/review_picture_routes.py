"""The pictures of a review, and its sheet of two pages: ``/review/K1/pressure.svg``, ``/review/K1/sheet.pdf``."""

from __future__ import annotations

__all__ = ["review_picture_routes"]

from typing import Annotated, Final, Literal

from fastapi import APIRouter, Depends, HTTPException, Path, Response

from alerts.errors import OutOfRange, ReviewRefused
from alerts.page.context import PageContext
from alerts.page.review.review_pictures import ReviewPictures
from alerts.page.review.review_request import AskedReview, asked_review, check_vessel, reviewed
from alerts.review import free_so2_band, review_charts, review_sheet, vessel_facts
from alerts.review.charts import ChartName, review_chart

_Id = Annotated[str, Path(max_length=200)]
_Asked = Annotated[AskedReview, Depends(asked_review)]
# Pictures of one minute are the same, so that they are drawn once.
_MINUTE_MS: Final = 60_000


def review_picture_routes(context: PageContext) -> APIRouter:
    """Make the routes of pictures and sheets."""
    routes = APIRouter()
    cellar = context.cellar
    pictures = ReviewPictures()

    def minute_ms() -> int:
        return context.clock() // _MINUTE_MS * _MINUTE_MS

    @routes.get("/review/{vessel}/{name}.svg", include_in_schema=False)
    def review_picture(vessel: _Id, name: ChartName) -> Response:
        check_vessel(cellar, vessel)
        with context.read() as store:
            facts = vessel_facts(cellar, store, vessel, None, minute_ms())
            band = free_so2_band(cellar, store, facts) if name == "free_so2" else []
        chart = review_chart(name, facts, band)
        if chart is None:
            raise HTTPException(404, f"There is nothing to draw: {vessel} has no {name.replace('_', ' ')}.")
        return Response(pictures.drawn(chart, "svg"), media_type="image/svg+xml")

    def sheet(vessel: str, asked: AskedReview, kind: Literal["pdf", "png"], number: int = 0) -> bytes:
        check_vessel(cellar, vessel)
        try:
            with context.read() as store:
                found = reviewed(cellar, store, vessel, asked, context.clock())
                band = free_so2_band(cellar, store, found.facts)
        except (OutOfRange, ReviewRefused) as error:
            raise HTTPException(400, str(error)) from error
        picture = review_sheet(found.review, review_charts(found.facts, band), cellar.site.name, cellar.site.zone)
        return pictures.drawn(picture, kind, number)

    @routes.get("/review/{vessel}/sheet.pdf", include_in_schema=False)
    def sheet_pdf(vessel: _Id, asked: _Asked) -> Response:
        return Response(sheet(vessel, asked, "pdf"), media_type="application/pdf", headers=_named(vessel, ".pdf"))

    @routes.get("/review/{vessel}/sheet-{number}.png", include_in_schema=False)
    def sheet_png(vessel: _Id, number: Literal["1", "2"], asked: _Asked) -> Response:
        content = sheet(vessel, asked, "png", int(number) - 1)
        return Response(content, media_type="image/png", headers=_named(vessel, f"-{number}.png"))

    return routes


def _named(vessel: str, ending: str) -> dict[str, str]:
    """A file name that every system takes."""
    name = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in vessel)
    return {"Content-Disposition": f'inline; filename="review-{name}{ending}"'}
