"""The history of a vessel or a lot: ``/history``, the same as a table, as CSV, and as JSON."""

from __future__ import annotations

__all__ = ["history_routes"]

import csv
import io
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from typing import Annotated, Any, Final, Literal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse, PlainTextResponse, Response, StreamingResponse
from pydantic import TypeAdapter

from alerts.errors import HistoryRefused
from alerts.page.context import PageContext
from alerts.page.errors import ErrorAnswer
from alerts.page.history.history_request import AskedHistory, asked_history, asked_span, asked_subject, history_address
from alerts.page.ways import card_of
from alerts.view.format import duration_text
from alerts.view.history.answer import EstimateAnswer, HistoryAnswer
from alerts.view.history.estimate import so2_estimates
from alerts.view.history.lines import COLUMNS, MOST_LINES, reading_count, reading_lines, span_lines
from alerts.view.history.rows import history_table
from alerts.view.history.span import SPANS_MS, HistorySpan
from alerts.view.history.subject import HistorySubject, lot_choices, other_choices, vessel_choices
from alerts.view.history.whole import FEWEST_ROWS, MOST_ROWS, USUAL_ROWS, history_of
from ingest.store import Store
from ingest.times import iso_utc

_HISTORY: Final = TypeAdapter(HistoryAnswer)
_ESTIMATE: Final = TypeAdapter(EstimateAnswer)
_TABLE_ROWS: Final = 100
_LINES_AT_ONCE: Final = 2000
_A_DAY_S: Final = 86_400

Asked = Annotated[AskedHistory, Depends(asked_history)]


def history_routes(context: PageContext) -> APIRouter:
    """Make the routes of the history."""
    routes = APIRouter()
    cellar = context.cellar
    refusal: dict[int | str, dict[str, Any]] = {code: {"model": ErrorAnswer} for code in (400, 422, 503)}

    def looked_up(asked: AskedHistory, gather: Callable[[Store, HistorySubject, HistorySpan, int], bytes]) -> Response:
        now_ms = context.clock()
        try:
            with context.read() as store:
                subject = asked_subject(cellar, store, asked)
                text = gather(store, subject, asked_span(cellar, store, subject, asked, now_ms), now_ms)
        except HistoryRefused as error:
            return JSONResponse({"error": str(error)}, status_code=400)
        return Response(text, media_type="application/json")

    @routes.get("/api/history", response_model=HistoryAnswer, responses=refusal, tags=["history"])
    def history_json(
        asked: Asked,
        rows: Annotated[
            int, Query(ge=FEWEST_ROWS, le=MOST_ROWS, description="about so many rows of each probe, at most")
        ] = USUAL_ROWS,
    ) -> Response:
        """What was read, found and judged of a vessel or a lot, with limits, entries and alarms, by columns."""
        return looked_up(
            asked,
            lambda store, subject, span, now_ms: _HISTORY.dump_json(
                history_of(cellar, store, subject, span, now_ms, rows)
            ),
        )

    @routes.get("/api/history/estimate", response_model=EstimateAnswer, responses=refusal, tags=["history"])
    def history_estimate_json(asked: Asked) -> Response:
        """What is estimated of the wine's free and molecular SO2: median and 80 % interval, by what was known then."""
        return looked_up(
            asked,
            lambda store, subject, span, now_ms: _ESTIMATE.dump_json(
                so2_estimates(cellar, store, subject, span, now_ms)
            ),
        )

    @routes.get("/history", response_class=HTMLResponse, include_in_schema=False)
    def history_page(request: Request, asked: Asked) -> HTMLResponse:
        return _page(context, request, asked, "history.html", lambda *_: {})

    @routes.get("/history/table", response_class=HTMLResponse, include_in_schema=False)
    def table_page(request: Request, asked: Asked) -> HTMLResponse:
        def gather(store: Store, subject: HistorySubject, span: HistorySpan, now_ms: int) -> dict[str, object]:
            answer = history_of(cellar, store, subject, span, now_ms, _TABLE_ROWS)
            return {
                "table": history_table(answer, so2_estimates(cellar, store, subject, span, now_ms)),
                "answer": answer,
                "row_words": duration_text(answer.span_ms / 1000),
            }

        return _page(context, request, asked, "history_table.html", gather)

    @routes.get("/history.csv", include_in_schema=False)
    def history_csv(asked: Asked, by: Literal["span", "reading"] = "span") -> Response:
        now_ms = context.clock()
        try:
            with context.read() as store:
                subject = asked_subject(cellar, store, asked)
                span = asked_span(cellar, store, subject, asked, now_ms)
                if by == "span":
                    answer = history_of(cellar, store, subject, span, now_ms, MOST_ROWS)
                    lines = span_lines(answer, so2_estimates(cellar, store, subject, span, now_ms))
                    body: Iterator[str] = _csv(line.cells() for line in lines)
                else:
                    _check_count(reading_count(store, subject, span))
                    body = _every_reading(context, subject, span)
        except HistoryRefused as error:
            return PlainTextResponse(f"{error}\n", status_code=400)
        name = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in subject.id)
        return StreamingResponse(
            body,
            media_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": f'attachment; filename="history-{name}.csv"'},
        )

    for name, kind in (("uPlot.iife.js", "text/javascript"), ("uPlot.min.css", "text/css")):
        routes.get(f"/static/uplot/{name}", include_in_schema=False)(_library_file(name, kind))
    return routes


def _page(
    context: PageContext,
    request: Request,
    asked: AskedHistory,
    template: str,
    gather: Callable[[Store, HistorySubject, HistorySpan, int], dict[str, object]],
) -> HTMLResponse:
    """Fill a page of the history; of a request that cannot be answered one that says why, with what there is."""
    cellar, now_ms = context.cellar, context.clock()
    subject, span, wrong = None, None, ""
    more: dict[str, object] = {}
    with context.read() as store:
        vessels, lots = vessel_choices(cellar, store), lot_choices(store)
        if asked.vessel or asked.place or asked.lot:
            try:
                subject = asked_subject(cellar, store, asked)
                if subject.kind == "vessel":
                    asked = replace(asked, vessel=subject.id, place="")
                span = asked_span(cellar, store, subject, asked, now_ms)
                more = gather(store, subject, span, now_ms)
            except HistoryRefused as error:
                wrong = str(error)
    zone = cellar.site.zone

    def field_time(at_ms: int) -> str:
        return f"{datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone):%Y-%m-%dT%H:%M}"

    def address(path: str, **changes: str) -> str:
        # A span that is wrong, or is to be another one, is left out.
        no_span = (
            {} if span is not None and not changes.keys() & {"span", "from"} else {"span": "", "from": "", "to": ""}
        )
        return history_address(path, asked, **no_span | changes)

    return context.page(
        request,
        template,
        title="History" if subject is None else f"History of {subject.id}",
        status_code=200 if not wrong else 404 if subject is None else 400,
        asked=asked,
        subject=subject,
        span=span,
        wrong=wrong,
        vessels=vessels,
        lots=lots,
        others=other_choices(cellar),
        card="" if subject is None or subject.is_lot else card_of(subject.kind, subject.id),
        spans=[*SPANS_MS, "all"],
        zone=str(zone),
        address=address,
        beside=None if span is None else _beside(span, now_ms),
        field_time=field_time,
        long_time=lambda at_ms: _short_time(at_ms, zone),
        lines=f"{MOST_LINES:,}",
        **more,
    )


def _short_time(at_ms: int, zone: ZoneInfo) -> str:
    """Date and time to the minute; every time of a table is in the cellar's zone."""
    return f"{datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone):%Y-%m-%d %H:%M}"


def _beside(span: HistorySpan, now_ms: int) -> dict[str, dict[str, str] | None]:
    """The span of the same length before and after one, as parts of an address; None after the present one."""
    length_ms = span.to_ms - span.from_ms
    later_ms = min(span.to_ms + length_ms, now_ms)
    return {
        "earlier": {"from": iso_utc(span.from_ms - length_ms), "to": iso_utc(span.from_ms)},
        "later": {"from": iso_utc(later_ms - length_ms), "to": iso_utc(later_ms)} if span.to_ms < now_ms else None,
    }


def _check_count(readings: int) -> None:
    if readings > MOST_LINES:
        times = math.ceil(readings / MOST_LINES)
        raise HistoryRefused(
            f"there are about {readings:,} readings in that time, and one table holds {MOST_LINES:,}: ask for a "
            f"{times}th of the time, or for lowest, mean and highest (by=span); leeside history --csv has no bound"
        )


def _every_reading(context: PageContext, subject: HistorySubject, span: HistorySpan) -> Iterator[str]:
    """Lines as they are read: a slow visitor holds no transaction open."""
    with context.store() as store:
        yield from _csv(line.cells() for line in reading_lines(store, subject, span))


def _csv(rows: Iterator[Sequence[str]]) -> Iterator[str]:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    while some := [*islice(rows, _LINES_AT_ONCE)]:
        writer.writerows(some)
        yield out.getvalue()
        out.seek(0)
        out.truncate()
    if out.tell():
        yield out.getvalue()


def _library_file(name: str, media_type: str) -> Callable[[], FileResponse]:
    """A file of the chart library's wheel. The package is found, not imported: only its files are wanted."""
    package = find_spec("uplot")
    folder = Path(((package and package.submodule_search_locations) or [""])[0]) / "static"

    def library_file() -> FileResponse:
        return FileResponse(
            folder / name, media_type=media_type, headers={"Cache-Control": f"private, max-age={_A_DAY_S}"}
        )

    return library_file
