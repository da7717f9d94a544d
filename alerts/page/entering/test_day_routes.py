"""A test day: ``/test-day``, titrations of several wines in one table, written together or not at all."""

from __future__ import annotations

__all__ = ["test_day_routes"]

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from itertools import zip_longest
from typing import Any, Final, NamedTuple

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse
from starlette.datastructures import FormData

from alerts.page.alarms.who import who_of
from alerts.page.context import PageContext
from alerts.page.entering.entry_pages import FormProblem, Unready, written_response
from alerts.page.entering.entry_post import EntryPost, checked_form, new_key, read_post, with_new_key
from alerts.page.entering.entry_steps import CHANGED, WARNED, not_ready, prepared_mark, written_before
from alerts.page.entering.form_controls import control_of, point_for_comma, typed
from alerts.view.entries.choices import Candidate, choices
from alerts.view.entries.entry_form import entry_form, without_stale_offers
from alerts.view.entries.titration_row import titration_row
from alerts.view.format import local_time
from ingest.entering import Prepared, context_of, moment
from ingest.entering_several import COMMON, prepare_line, write_several
from ingest.errors import EntryRefused, IngestError, StoreError
from ingest.journal.answers import AnswersWrong, Clock, Wrong
from ingest.journal.kinds.kind import EntryKind
from ingest.journal.kinds.titration import TITRATION
from ingest.store import Store
from ingest.store.journal.entries import entries
from ingest.times import iso_utc

_ACTION: Final = "/test-day"
_FLASKS: Final = ("flask1", "flask2", "flask3")
_SPARE_ROWS: Final = 2
_MOST_ROWS: Final = 200
_SOME_ENTRIES: Final = 50
# What is asked once for all wines.
_COMMON_KIND: Final[EntryKind[Any]] = replace(
    TITRATION, questions=tuple(question for question in TITRATION.questions if question.name in COMMON)
)


class _WineRow(NamedTuple):
    """A row of the table as it was filled in. flasks: the titres, or the result from elsewhere, as texts."""

    wine: str = ""
    flasks: tuple[str, ...] = ("",) * len(_FLASKS)

    @property
    def line(self) -> str:
        """The row as ``prepare_line`` reads it."""
        return f"{self.wine} " + "; ".join(point_for_comma(flask) for flask in self.flasks if flask)


class _WorkedRow(NamedTuple):
    """A row with what it gives, or why it gives nothing."""

    row: _WineRow
    prepared: Prepared | None
    whys: tuple[str, ...] = ()


def test_day_routes(context: PageContext) -> APIRouter:
    """Make the routes of the test day."""
    routes = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    checked = Depends(checked_form(context.tokens))

    @routes.get(_ACTION)
    def empty_table(request: Request) -> Response:
        post = EntryPost(who=who_of(request), key=new_key())
        with context.store() as store:
            return _TestDay(context, request, store, post, ()).table(offers=True)

    @routes.post(_ACTION)
    def sent_table(request: Request, sent: tuple[FormData, str] = checked) -> Response:
        form, refusal = sent
        with context.store() as store:
            return _TestDay(context, request, store, read_post(_COMMON_KIND, form), _rows(form)).answer(refusal)

    return routes


def _rows(form: FormData) -> tuple[_WineRow, ...]:
    columns = [[str(value).strip() for value in form.getlist(name)[:_MOST_ROWS]] for name in ("wine", *_FLASKS)]
    return tuple(_WineRow(wine, tuple(flasks)) for wine, *flasks in zip_longest(*columns, fillvalue=""))


@dataclass(frozen=True, slots=True)
class _TestDay:
    """One request for the table. post: what is asked once; rows: those that were sent, also empty ones."""

    context: PageContext
    request: Request
    store: Store
    post: EntryPost
    rows: Sequence[_WineRow]

    def answer(self, refusal: str) -> Response:
        """Answer a table that was sent. refusal: why it may not write, "" where it may."""
        if refusal:
            why = f"Nothing was written. {refusal} What you filled in is below."
            return self.table(Unready((FormProblem("", why),), 403))
        if self.post.step in ("fields", "change"):
            return self.table(offers=self.post.step == "fields")
        day = self if self.post.key else replace(self, post=with_new_key(self.post))
        return day.checked()

    def checked(self) -> Response:
        """Show what the rows give, or save them. A table that was saved already leads to its entries."""
        once = self.post.once(repr((_ACTION, [row for row in self.rows if any(row.flasks)])))
        before, notice = written_before(self.store, once)
        if before and not notice:
            return written_response(before, was_written=True)
        day = self
        if notice:
            day, once = replace(self, post=with_new_key(self.post)), None
        try:
            worked = day.worked()
            if any(each.prepared is None for each in worked):
                problems = [
                    FormProblem("", f"{each.row.wine or 'a row'}: {why}") for each in worked for why in each.whys
                ]
                return day.table(Unready(tuple(problems), 422), worked=worked)
            prepared = [each.prepared for each in worked if each.prepared is not None]
            mark = sha256(
                "".join(prepared_mark(each, is_dated=self.post.at is not None) for each in prepared).encode()
            ).hexdigest()
            if day.post.step == "save" and not notice:
                notice = day.why_not_yet(prepared, mark)
                if not notice:
                    drafts = [each.draft for each in prepared]
                    now_ms = day.context.clock()
                    written = write_several(day.store, day.context.cellar, drafts, now_ms=now_ms, once=once)
                    return written_response(written, who=day.post.who)
        except StoreError:
            raise
        except IngestError as error:
            return day.table(not_ready(error))
        return day.look(worked, mark, notice)

    def why_not_yet(self, prepared: Sequence[Prepared], mark: str) -> str:
        """Why a table that is to be saved is shown again instead, "" if it is not."""
        if self.post.seen != mark:
            return CHANGED
        return WARNED if any(each.warnings for each in prepared) and not self.post.is_warned else ""

    def worked(self) -> list[_WorkedRow]:
        """Work out the rows that are filled in. Raises AnswersWrong for what is common to all, or if there is none."""
        filled = [row for row in self.rows if any(row.flasks)]
        if not filled:
            raise AnswersWrong([Wrong("", "no row is filled in: write a titre beside at least one wine")])
        clock = Clock(self.context.cellar.site.zone, self.context.clock())
        common = without_stale_offers(_COMMON_KIND, self.post.texts, self.post.offers, clock)
        seen: set[str] = set()
        worked = []
        for row in filled:
            worked.append(self._worked_row(row, common, is_second=row.wine in seen))
            seen.add(row.wine)
        return worked

    def _worked_row(self, row: _WineRow, common: Mapping[str, Sequence[str]], *, is_second: bool) -> _WorkedRow:
        if not row.wine:
            return _WorkedRow(row, None, ("say which wine",))
        if is_second:
            return _WorkedRow(row, None, (f"{row.wine} is there already; write all its flasks in one row",))
        at = self.post.at or (self.post.now if self.post.step == "save" else None) or None
        now_ms = self.context.clock()
        try:
            prepared = prepare_line(
                self.store, self.context.cellar, common, row.line, who=self.post.who, now_ms=now_ms, at=at
            )
        except AnswersWrong as error:
            if any(wrong.field in (*COMMON, "at", "who") for wrong in error.wrong):
                raise
            return _WorkedRow(row, None, tuple(wrong.why for wrong in error.wrong))
        except EntryRefused as error:
            return _WorkedRow(row, None, tuple(str(problem) for problem in error.problems))
        return _WorkedRow(row, prepared)

    def table(
        self, unready: Unready | None = None, *, offers: bool = False, worked: Sequence[_WorkedRow] = ()
    ) -> Response:
        """Show the table to fill in. worked: rows with what is wrong with them."""
        cellar, now_ms = self.context.cellar, self.context.clock()
        zone = cellar.site.zone
        try:
            at_ms = moment(self.post.at, cellar, now_ms)
        except IngestError:
            at_ms = now_ms
        context, clock = context_of(self.store, cellar, TITRATION.name, at_ms), Clock(zone, now_ms)
        texts = self.post.typed_texts if offers else self.post.texts
        fields = entry_form(
            _COMMON_KIND, texts, context, clock, at_ms, as_they_are=self.post.touched if offers else None
        )
        wines = [each for each in choices("vessel", context, clock) if not context.contents[each.id].empty]
        wrong = {each.row.wine: " ".join(each.whys) for each in worked if each.whys}
        unready = unready or Unready()
        return self.context.page(
            self.request,
            "test_day.html",
            title="Test day",
            status_code=unready.status,
            action=_ACTION,
            post=self.post,
            typed=typed,
            controls=[control_of(field, zone) for field in fields],
            names={field.question.name for field in fields},
            problems=unready.problems,
            wrong={problem.field: problem.why for problem in unready.problems},
            ways=unready.ways,
            rows=self._all_rows(wines),
            wrong_rows=wrong,
            known={each.id: each.known for each in wines},
            wines=[*wines, *choices("lot", context, clock)],
            flasks=_FLASKS,
            people=sorted({entry.who for entry in entries(self.store, newest=_SOME_ENTRIES)}),
            zone_name=str(zone),
        )

    def _all_rows(self, wines: Sequence[Candidate]) -> list[_WineRow]:
        """A row for each vessel that holds wine, those that were sent otherwise, and some to spare."""
        sent = [row for row in self.rows if row.wine or any(row.flasks)]
        first = {row.wine: row for row in reversed(sent)}
        rows = [first.get(each.id, _WineRow(each.id)) for each in wines]
        others = [row for row in sent if row not in rows]
        return [*rows, *others, *(_WineRow(),) * _SPARE_ROWS]

    def look(self, worked: Sequence[_WorkedRow], mark: str, notice: str) -> Response:
        """Show what the rows give."""
        zone, now_ms = self.context.cellar.site.zone, self.context.clock()
        prepared = [each.prepared for each in worked if each.prepared is not None]
        draft = prepared[0].draft
        return self.context.page(
            self.request,
            "test_day_look.html",
            title="Test day",
            action=_ACTION,
            post=self.post,
            typed=typed,
            rows=[(titration_row(each.draft, each.words), each.warnings) for each in prepared],
            cautions=list(dict.fromkeys(each.caution for each in prepared if each.caution)),
            notes=list(dict.fromkeys(note for each in prepared for note in each.notes)),
            has_warnings=any(each.warnings for each in prepared),
            heading=f"{local_time(draft.at_ms, zone, now_ms)}, by {draft.who}",
            notice=notice,
            mark=mark,
            at=iso_utc(draft.at_ms),
        )
