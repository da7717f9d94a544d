"""What was written: ``/written`` shows it, and offers to work titrations out again whose bottle has changed."""

from __future__ import annotations

__all__ = ["written_routes"]

from collections.abc import Iterable, Sequence
from typing import Annotated, Final

from fastapi import APIRouter, Depends, HTTPException, Query, Request, Response
from fastapi.responses import HTMLResponse
from pydantic import Field
from starlette.datastructures import FormData

from alerts.page.alarms.who import who_of
from alerts.page.context import PageContext
from alerts.page.entering.entry_pages import written_response
from alerts.page.entering.entry_post import checked_form
from alerts.view.entries.journal_lines import entry_line
from ingest.journal.entry import Entry, kind_words
from ingest.journal.titrant_bottles import TitrantBody
from ingest.store import Store
from ingest.store.journal.entries import entry as entry_of_number
from ingest.store.journal.entries import struck_along
from ingest.titrations_again import Outdated, outdated_titrations, write_again

_MOST_WRITTEN: Final = 200
# The numbers of entries are exact in every program.
_Number = Annotated[int, Field(ge=1, le=2**52)]


def written_routes(context: PageContext) -> APIRouter:
    """Make the routes."""
    routes = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    checked = Depends(checked_form(context.tokens))

    @routes.get("/written")
    def written_page(
        request: Request, no: Annotated[list[_Number], Query(max_length=_MOST_WRITTEN)], again: bool = False
    ) -> Response:
        with context.store() as store:
            return _page(context, request, store, no, was_written=again)

    @routes.post("/written/again")
    def work_out_again(request: Request, sent: tuple[FormData, str] = checked) -> Response:
        form, refusal = sent
        numbers = [
            int(text) for text in form.getlist("no")[:_MOST_WRITTEN] if isinstance(text, str) and _is_number(text)
        ]
        who = str(form.get("who", "")).strip()
        with context.store() as store:
            problem = f"Nothing was written. {refusal}" if refusal else "" if who else "Say who works them out again."
            outdated = _outdated(context, store, _with_those_struck(store, numbers), who)
            ready = [each for each in outdated if each.again is not None]
            if not problem and not form.get("warned") and _has_warnings(ready):
                problem = "Look at the warnings. If all is right, say so below them."
            if problem or not ready:
                return _page(context, request, store, numbers, problem=problem, status_code=403 if refusal else 200)
            return written_response(write_again(store, context.cellar, ready, now_ms=context.clock()), who=who)

    return routes


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 16


def _page(
    context: PageContext,
    request: Request,
    store: Store,
    numbers: Sequence[int],
    *,
    was_written: bool = False,
    problem: str = "",
    status_code: int = 200,
) -> Response:
    now_ms, zone = context.clock(), context.cellar.site.zone
    there = [entry for number in numbers if (entry := entry_of_number(store, number)) is not None]
    if not there:
        raise HTTPException(404, "there is no entry of that number")
    touched = _with_those_struck(store, numbers)
    outdated = _outdated(context, store, touched, "")
    first = there[0]
    return context.page(
        request,
        "written.html",
        title="Struck" if first.struck else "Written down",
        status_code=status_code,
        entries=there,
        line=lambda entry: entry_line(entry, zone, now_ms),
        along=[each for each in touched if each.id not in numbers],
        was_written=was_written,
        kind=first.kind,
        kind_words=kind_words(first.kind),
        vessel=first.place if len(there) == 1 and first.place else "",
        outdated=outdated,
        can_work_out=any(each.again is not None for each in outdated),
        has_warnings=_has_warnings(outdated),
        who=who_of(request),
        problem=problem,
    )


def _with_those_struck(store: Store, numbers: Iterable[int]) -> list[Entry]:
    """The entries of these numbers, and those that were struck along with them."""
    found = [entry for number in numbers if (entry := entry_of_number(store, number)) is not None]
    return [*found, *(each for entry in found for each in struck_along(store, entry.id))]


def _outdated(context: PageContext, store: Store, entries: Iterable[Entry], who: str) -> list[Outdated]:
    """The titrations that would give something else with the bottles of these entries as they are now."""
    names = {entry.body.name for entry in entries if isinstance(entry.body, TitrantBody)}
    return outdated_titrations(store, context.cellar, names, who=who, now_ms=context.clock()) if names else []


def _has_warnings(outdated: Iterable[Outdated]) -> bool:
    return any(each.again.prepared.warnings for each in outdated if each.again is not None)
