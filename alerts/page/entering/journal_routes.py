"""The journal: ``/journal``, and from there amending and striking an entry."""

from __future__ import annotations

__all__ = ["journal_routes"]

from datetime import UTC, datetime
from typing import Annotated, Any, Final, NamedTuple

from fastapi import APIRouter, Depends, HTTPException, Path, Query, Request, Response
from fastapi.responses import HTMLResponse
from starlette.datastructures import FormData

from alerts.page.alarms.who import who_of
from alerts.page.context import PageContext
from alerts.page.entering.amendment import amended_before, amending
from alerts.page.entering.entry_pages import EntryPages, Unready, written_response
from alerts.page.entering.entry_post import checked_form, read_post
from alerts.page.entering.entry_steps import not_ready, take_step
from alerts.page.entering.form_controls import typed
from alerts.page.entering.journal_filter import MOST_ENTRIES, JournalFilter, chosen_entries, known_names
from alerts.view.entries.journal_lines import entry_line
from alerts.view.format import local_time, with_capital
from ingest.errors import EntryRefused, IngestError, StoreError
from ingest.journal.entry import Entry, kind_words
from ingest.journal.kinds import KINDS, body_words, spread_words
from ingest.store import Store
from ingest.store.journal.entries import entry as entry_of_number
from ingest.store.journal.entries import strike

_SHOWN_AT_FIRST: Final = 60
Number = Annotated[int, Path(ge=1, le=2**52)]
"""The number of an entry, exact in every program."""


class _JournalDay(NamedTuple):
    """The entries of a day, newest first."""

    name: str
    entries: list[Entry]


def journal_routes(context: PageContext) -> APIRouter:
    """Make the routes of the journal."""
    routes = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    checked = Depends(checked_form(context.tokens))

    @routes.get("/journal")
    def journal_page(
        request: Request,
        vessel: str = "",
        lot: str = "",
        kind: str = "",
        since: Annotated[str, Query(alias="from")] = "",
        until: Annotated[str, Query(alias="to")] = "",
        show: Annotated[int, Query(ge=1, le=MOST_ENTRIES)] = _SHOWN_AT_FIRST,
    ) -> Response:
        wanted = JournalFilter(vessel.strip(), lot.strip(), kind.strip(), since.strip(), until.strip())
        with context.store() as store:
            return _journal_page(context, request, store, wanted, show)

    @routes.get("/journal/{number}/amend")
    def amend_form(request: Request, number: Number) -> Response:
        with context.store() as store:
            writing = _amending(context, request, store, number)
            return writing if isinstance(writing, Response) else writing.begin()

    @routes.post("/journal/{number}/amend")
    def amend(request: Request, number: Number, sent: tuple[FormData, str] = checked) -> Response:
        form, refusal = sent
        with context.store() as store:
            writing = _amending(context, request, store, number, form)
            if isinstance(writing, Response):
                return writing
            return take_step(writing, read_post(writing.writing.kind, form), refusal)

    @routes.get("/journal/{number}/strike")
    def strike_form(request: Request, number: Number) -> Response:
        with context.store() as store:
            return _strike_page(context, request, store, number)

    @routes.post("/journal/{number}/strike")
    def strike_entry(request: Request, number: Number, sent: tuple[FormData, str] = checked) -> Response:
        form, refusal = sent
        texts = {name: str(form.get(name, "")).strip() for name in ("who", "reason", "with_later")}
        with context.store() as store:
            if refusal:
                why = f"Nothing was struck. {refusal}"
                return _strike_page(context, request, store, number, texts, why=why, status_code=403)
            try:
                struck = strike(
                    store, number, texts["who"], texts["reason"], context.clock(), with_later=bool(texts["with_later"])
                )
            except EntryRefused as error:
                return _refused_strike(context, request, store, number, texts, error)
            return written_response(struck[:1], who=texts["who"])

    return routes


# ---- the journal ----------------------------------------------------------------------------------------------------


def _journal_page(context: PageContext, request: Request, store: Store, wanted: JournalFilter, show: int) -> Response:
    cellar, now_ms = context.cellar, context.clock()
    zone = cellar.site.zone
    known = known_names(store, cellar, now_ms)
    problem, chosen = "", []
    try:
        chosen = chosen_entries(store, cellar, wanted, known, now_ms, show + 1)
    except StoreError:
        raise
    except IngestError as error:
        problem = str(error)
    shown = chosen[-show:][::-1]
    return context.page(
        request,
        "journal.html",
        title="Journal",
        status_code=422 if problem else 200,
        wanted=wanted,
        problem=problem,
        days=_by_day(shown, context),
        time_of=lambda entry: f"{_local(entry.at_ms, context):%H:%M}",
        said=lambda entry: body_words(entry.body, entry.lot),
        spread=lambda entry: spread_words(entry.body),
        kind_words=kind_words,
        can_be_amended=lambda entry: bool(KINDS[entry.kind].questions),
        when=lambda at_ms: local_time(at_ms, zone, now_ms),
        kinds=[(name, with_capital(kind_words(name))) for name in KINDS],
        places=known.places,
        lots=known.lots,
        typed=typed,
        more=min(show * 3, MOST_ENTRIES) if len(chosen) > show and show < MOST_ENTRIES else 0,
    )


def _by_day(newest_first: list[Entry], context: PageContext) -> list[_JournalDay]:
    days: list[_JournalDay] = []
    for entry in newest_first:
        name = f"{_local(entry.at_ms, context):%A, %-d %B %Y}"
        if not days or days[-1].name != name:
            days.append(_JournalDay(name, []))
        days[-1].entries.append(entry)
    return days


def _local(at_ms: int, context: PageContext) -> datetime:
    return datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(context.cellar.site.zone)


# ---- amending and striking ------------------------------------------------------------------------------------------


def _amending(
    context: PageContext, request: Request, store: Store, number: int, form: FormData | None = None
) -> EntryPages | Response:
    """The form of an amendment, or why there is none."""
    try:
        return EntryPages(context, request, amending(context, store, number), store)
    except EntryRefused as error:
        # The same form again, after its answer was lost, finds the entry struck as amended.
        again = None if form is None else amended_before(store, number, form)
        if again is not None:
            return written_response([again], was_written=True)
        return _strike_page(context, request, store, number, why=str(error), status_code=409)


def _strike_page(
    context: PageContext,
    request: Request,
    store: Store,
    number: int,
    texts: dict[str, str] | None = None,
    *,
    why: str = "",
    unready: Unready | None = None,
    status_code: int = 200,
) -> Response:
    """Show an entry with the form to strike it; why: what keeps it from being done."""
    entry = entry_of_number(store, number)
    if entry is None:
        raise HTTPException(404, "there is no entry of that number")
    zone, now_ms = context.cellar.site.zone, context.clock()
    later = [] if unready is None else [entry_of_number(store, id) for id in unready.later]
    before: dict[str, Any] = texts or {"who": who_of(request), "reason": ""}
    return context.page(
        request,
        "strike.html",
        title=f"Strike no. {number}",
        status_code=status_code,
        entry=entry,
        line=entry_line(entry, zone, now_ms),
        when="" if entry.struck is None else local_time(entry.struck.at_ms, zone, now_ms),
        why=why,
        later=[entry_line(each, zone, now_ms) for each in later if each is not None],
        before=before,
        typed=typed,
    )


def _refused_strike(
    context: PageContext, request: Request, store: Store, number: int, texts: dict[str, str], error: EntryRefused
) -> Response:
    entry = entry_of_number(store, number)
    struck = None if entry is None else entry.struck
    if entry is not None and struck is not None and (struck.who, struck.reason) == (texts["who"], texts["reason"]):
        return written_response([entry], was_written=True)  # the same strike again, after its answer was lost
    unready = not_ready(error)
    return _strike_page(
        context, request, store, number, texts, why=str(error), unready=unready, status_code=unready.status
    )
