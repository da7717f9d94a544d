"""The pages of a form that writes an entry: the form itself, the look at what it gives, the way to what was written."""

from __future__ import annotations

__all__ = ["EntryPages", "FormProblem", "Unready", "Writing", "written_response"]

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple
from urllib.parse import urlencode

from fastapi import Request, Response
from fastapi.responses import RedirectResponse

from alerts.page.alarms.who import keep_who, who_of
from alerts.page.context import PageContext
from alerts.page.entering.buffer_reading import BufferReading
from alerts.page.entering.entry_post import EntryPost, new_key
from alerts.page.entering.form_controls import control_of, typed
from alerts.view.entries.entry_form import entry_form
from alerts.view.entries.journal_lines import entry_heading, entry_line
from alerts.view.vessel_contents import contents_line
from ingest.entering import Prepared, context_of, moment
from ingest.errors import IngestError
from ingest.journal.answers import Clock
from ingest.journal.entry import Entry
from ingest.journal.kinds import spread_words
from ingest.journal.kinds.kind import EntryKind
from ingest.store import Store
from ingest.store.journal.entries import entries
from ingest.store.journal.entries import entry as entry_of_number
from ingest.store.journal.idempotency_keys import Once
from ingest.times import iso_utc

_SOME_ENTRIES: Final = 50
_RESULT: Final = re.compile(r"[0-9<]|none found")


@dataclass(frozen=True, slots=True)
class Writing:
    """What a form writes.

    title: of its page; action: where it is sent; prepare(store, post, with_later), write(store, post, prepared,
    with_later, once): the entry; old: the one that is amended, None for a new one; start: the answers that it begins
    with; start_date, start_time: what the controls of the time begin with; shows(store, post): what the probe that it
    is of shows now; take(store, post): the form with that as its next reading.
    """

    kind: EntryKind[Any]
    title: str
    action: str
    prepare: Callable[[Store, EntryPost, bool], Prepared]
    write: Callable[[Store, EntryPost, Prepared, bool, Once | None], Entry]
    old: Entry | None = None
    start: Mapping[str, Sequence[str]] | None = None
    start_date: str = ""
    start_time: str = ""
    shows: Callable[[Store, EntryPost], BufferReading | None] | None = None
    take: Callable[[Store, EntryPost], EntryPost] | None = None


class FormProblem(NamedTuple):
    """What keeps a form from being written. field: the question it is about, also "at" and "who"; "" for all of it."""

    field: str
    why: str


class Unready(NamedTuple):
    """Why a form cannot be written as it is. status: of the answer; ways: the two moments that its time can mean;
    later: the numbers of entries that would have to be struck.
    """

    problems: tuple[FormProblem, ...] = ()
    status: int = 200
    ways: tuple[str, ...] = ()
    later: tuple[int, ...] = ()


_READY: Final = Unready()


@dataclass(frozen=True, slots=True)
class EntryPages:
    """The pages of one request for a form."""

    context: PageContext
    request: Request
    writing: Writing
    store: Store

    def begin(self) -> Response:
        """Show the form as it begins."""
        writing = self.writing
        post = EntryPost(
            texts={name: list(texts) for name, texts in (writing.start or {}).items()},
            date=writing.start_date,
            time=writing.start_time,
            who=who_of(self.request),
            key=new_key(),
        )
        return self.form(post, offers=True)

    def form(self, post: EntryPost, unready: Unready = _READY, *, offers: bool = False) -> Response:
        """Show the form. offers: whether something is offered where nothing is answered and nobody was."""
        writing, cellar, now_ms = self.writing, self.context.cellar, self.context.clock()
        zone = cellar.site.zone
        at_ms = self._time_of(post, now_ms)
        fields = entry_form(
            writing.kind,
            post.typed_texts if offers else post.texts,
            context_of(self.store, cellar, writing.kind.name, at_ms),
            Clock(zone, now_ms),
            at_ms,
            as_they_are=post.touched if offers and writing.old is None else None,
        )
        return self.context.page(
            self.request,
            "entry_form.html",
            title=writing.title,
            status_code=unready.status,
            writing=writing,
            post=post,
            typed=typed,
            controls=[control_of(field, zone) for field in fields],
            names={field.question.name for field in fields},
            problems=unready.problems,
            wrong={problem.field: problem.why for problem in unready.problems},
            ways=unready.ways,
            later=self._entry_lines(unready.later),
            people=sorted({entry.who for entry in entries(self.store, newest=_SOME_ENTRIES)}),
            old=self._old_line(),
            zone_name=str(zone),
            shown=None if writing.shows is None else writing.shows(self.store, post),
        )

    def look(self, post: EntryPost, prepared: Prepared, mark: str, later: Sequence[int], notice: str) -> Response:
        """Show what would be written. mark: what stands for it; later: entries that are struck along."""
        site, now_ms = self.context.cellar.site, self.context.clock()
        words, found = _with_result_apart(prepared)
        return self.context.page(
            self.request,
            "entry_look.html",
            title=self.writing.title,
            writing=self.writing,
            post=post,
            typed=typed,
            prepared=prepared,
            words=words,
            found=found,
            heading=entry_heading(prepared.draft, site.zone, now_ms),
            remark=getattr(prepared.draft.body, "remark", None),
            spread=spread_words(prepared.draft.body),
            after=[(held.vessel, contents_line(held, site.zone, site.units, now_ms)) for held in prepared.after],
            later=self._entry_lines(later),
            old=self._old_line(),
            notice=notice,
            mark=mark,
            at=iso_utc(prepared.draft.at_ms),
        )

    def _time_of(self, post: EntryPost, now_ms: int) -> int:
        """The time of the entry, now while nobody can know it [UTC ms]."""
        writing = self.writing
        if writing.old is not None and (post.date, post.time) == (writing.start_date, writing.start_time):
            return writing.old.at_ms
        try:
            return moment(post.at, self.context.cellar, now_ms)
        except IngestError:
            return now_ms

    def _old_line(self) -> str:
        old = self.writing.old
        return "" if old is None else entry_line(old, self.context.cellar.site.zone, self.context.clock())

    def _entry_lines(self, numbers: Sequence[int]) -> list[str]:
        """The entries of these numbers, each in a line."""
        found = (entry_of_number(self.store, number) for number in numbers)
        zone, now_ms = self.context.cellar.site.zone, self.context.clock()
        return [entry_line(entry, zone, now_ms) for entry in found if entry is not None]


def written_response(entries_written: Sequence[Entry], *, who: str = "", was_written: bool = False) -> Response:
    """Lead the browser to what was written. who: is offered in the next form; was_written: by an earlier request."""
    query: list[tuple[str, int]] = [("no", entry.id) for entry in entries_written]
    if was_written:
        query.append(("again", 1))
    response = RedirectResponse(f"/written?{urlencode(query)}", status_code=303)
    if who:
        keep_who(response, who)
    return response


def _with_result_apart(prepared: Prepared) -> tuple[str, str]:
    """What an entry says, and its result, which stands last: "1.25 mL on 25 mL: 32 mg/L free SO2"; "" for none."""
    said, colon, result = prepared.words.rpartition(": ")
    is_result = prepared.draft.body.results or result.endswith("SO2")
    return (said, result) if colon and is_result and _RESULT.match(result) else (prepared.words, "")
