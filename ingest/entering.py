"""Writing an entry down, from a person's answers to the store: for the command, the page, and programs.

    prepared = prepare(store, cellar, "titration", {"vessel": "K1", "titre": ["1.25 mL"], ...}, who="Ana", now_ms=now)
    entry = write(store, cellar, prepared, now_ms=now)

or both at once with ``enter``.
"""

from __future__ import annotations

__all__ = [
    "Prepared",
    "added",
    "answered",
    "context_inside",
    "context_of",
    "enter",
    "judged",
    "moment",
    "prepare",
    "tried",
    "with_typed",
    "write",
]

import sqlite3
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from ingest.cellar import Cellar
from ingest.errors import EntryRefused, IngestError, Problem
from ingest.journal.answers import AnswersWrong, Clock, Wrong
from ingest.journal.body import TypedAmount
from ingest.journal.contents import Contents
from ingest.journal.drafting import DraftedEntry, draft_entry, question_of, read_answers, with_known
from ingest.journal.entry import Draft, Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds import KINDS, body_words
from ingest.journal.kinds.kind import NamedVessels
from ingest.journal.requirements import long_ago
from ingest.journal.titrant_bottles import bottles_at
from ingest.journal.typed_amounts import typed_amounts
from ingest.journal.unfinished_rackings import open_racking_notes
from ingest.store import Store
from ingest.store.journal.begun_rackings import begun_rackings
from ingest.store.journal.entries import add_entry, newest_of
from ingest.store.journal.entry_rows import entry_of, unstruck
from ingest.store.journal.idempotency_keys import Once, write_once
from ingest.store.journal.stored_ledger import ledger_at
from ingest.times import Ambiguous, Skipped, spoken_moment

Answers = Mapping[str, str | bool | Sequence[str]]
"""Texts by the names of a kind's questions; of one that takes several answers a list."""


Add = Callable[[sqlite3.Connection], Entry]
"""Adds an entry inside a transaction."""


class Prepared(NamedTuple):
    """An entry that can be written. words: what it says; after: what the vessels that it names hold then; warnings:
    what can hardly be, which its body keeps: it is written only if a person insists; notes: what else a person should
    know; caution: one sentence where something dangerous is handled, else "".
    """

    draft: Draft
    words: str
    after: tuple[Contents, ...]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    caution: str


def enter(
    store: Store,
    cellar: Cellar,
    kind: str,
    answers: Answers,
    *,
    who: str,
    now_ms: int,
    at: str | None = None,
    with_later: bool = False,
    despite_warnings: bool = False,
) -> Entry:
    """Write an entry down from answers as texts: ``{"vessel": "K1", "volume": "19 L"}``.

    answers: by the names of the kind's questions (``ingest.journal.kinds.KINDS``); at: when it happened, as a person
    writes it (``ingest.times.spoken_moment``), by default now. Raises AnswersWrong that names every answer that will
    not do, EntryRefused where the cellar's contents speak against it, or a warning without despite_warnings; Ambiguous,
    StoreError.
    """
    prepared = prepare(store, cellar, kind, answers, who=who, now_ms=now_ms, at=at, with_later=with_later)
    if prepared.warnings and not despite_warnings:
        raise EntryRefused([Problem(kind, "", "", warning) for warning in prepared.warnings])
    return write(store, cellar, prepared, now_ms=now_ms, with_later=with_later)


def prepare(
    store: Store,
    cellar: Cellar,
    kind: str,
    answers: Answers,
    *,
    who: str,
    now_ms: int,
    at: str | None = None,
    with_later: bool = False,
) -> Prepared:
    """Make what ``enter`` would write, checked against the store as it is now; nothing is kept."""
    known = KINDS.get(kind)
    if known is None or not known.questions:
        asking = ", ".join(each.name for each in KINDS.values() if each.questions)
        raise IngestError(f"there is no form for an entry of kind '{kind}'; there are: {asking}")
    at_ms = moment(at, cellar, now_ms)
    texts = answered(answers)
    given = read_answers(known, texts, Clock(cellar.site.zone, now_ms))
    context = context_of(store, cellar, kind, at_ms)
    drafted = draft_entry(known, with_known(known, given, context, at_ms), context, who=who, at_ms=at_ms)
    drafted = with_typed(drafted, texts, given)

    def add(connection: sqlite3.Connection) -> Entry:
        return add_entry(connection, drafted.draft, cellar, now_ms, with_later=with_later)

    return judged(cellar, drafted, context, tried(store, cellar, kind, add), now_ms)


def with_typed(
    drafted: DraftedEntry,
    texts: Mapping[str, Sequence[str]],
    given: Mapping[str, Any],
    before: Sequence[TypedAmount] = (),
) -> DraftedEntry:
    """Give the draft with amounts as they were typed.

    texts: the new answers; given: all of them, as read; before: of an entry that is amended, those that were typed
    then, which stay where no new answer takes their place.
    """
    draft = drafted.draft
    typed = draft.body.typed
    there = {*texts, *(amount.question for amount in typed)}
    kept = [amount for amount in before if amount.question not in there and amount.question in given]
    body = draft.body.model_copy(update={"typed": (*kept, *typed, *typed_amounts(KINDS[draft.kind], texts, given))})
    return drafted._replace(draft=replace(draft, body=body))


def judged(
    cellar: Cellar, drafted: DraftedEntry, context: EntryContext, after: tuple[Contents, ...], now_ms: int
) -> Prepared:
    """Gather what a person should know of a draft; after: what the vessels that it names would hold then."""
    draft, warnings = drafted
    known, at_ms = KINDS[draft.kind], draft.at_ms
    vessels = NamedVessels(
        [vessel for vessel in cellar.vessel if vessel.id in draft.places],
        None if draft.place is None else context.contents.get(draft.place),
        after,
    )
    warnings = (*warnings, *known.warnings(draft.body, vessels), *long_ago(at_ms, now_ms))
    notes = (*draft.body.notes, *open_racking_notes(draft, context.begun, cellar.site.zone))
    caution = known.caution(draft.body, vessels)
    draft = replace(draft, body=draft.body.model_copy(update={"warnings": warnings}))
    return Prepared(draft, body_words(draft.body, draft.lot), after, warnings, notes, caution)


def write(
    store: Store,
    cellar: Cellar,
    prepared: Prepared,
    *,
    now_ms: int,
    with_later: bool = False,
    once: Once | None = None,
) -> Entry:
    """Write down what was prepared, all of it or nothing; it is checked again, since others may have written.

    once: the request's key; the same request again gives the entry that it wrote. Raises KeyUsed.
    """
    draft = prepared.draft

    def add(connection: sqlite3.Connection) -> Entry:
        return add_entry(connection, draft, cellar, now_ms, with_later=with_later)

    with store.write() as connection:
        return write_once(connection, once, now_ms, lambda: [added(connection, draft.kind, add)])[0]


def moment(at: str | None, cellar: Cellar, now_ms: int) -> int:
    """Read when it happened (UTC ms). Raises AnswersWrong for what is not a time, Ambiguous."""
    if at is None:
        return now_ms
    try:
        return spoken_moment(at, cellar.site.zone, now_ms)
    except Ambiguous as error:
        if not isinstance(error, Skipped):
            raise
        raise AnswersWrong([Wrong("at", str(error))]) from None
    except IngestError as error:
        raise AnswersWrong([Wrong("at", str(error))]) from None


def answered(answers: Answers) -> dict[str, tuple[str, ...]]:
    """Turn answers into those that ``read_answers`` takes; what is empty is left out."""
    texts_by_name: dict[str, tuple[str, ...]] = {}
    for name, value in answers.items():
        if isinstance(value, bool):
            texts: tuple[str, ...] = ("yes",) if value else ()
        else:
            texts = (value,) if isinstance(value, str) else tuple(value)
        if texts:
            texts_by_name[name] = texts
    return texts_by_name


def context_of(store: Store, cellar: Cellar, kind: str, at_ms: int) -> EntryContext:
    """Find what an entry of that kind and time (UTC ms) is understood by."""
    with store.read() as connection:
        return context_inside(connection, cellar, kind, at_ms)


def context_inside(connection: sqlite3.Connection, cellar: Cellar, kind: str, at_ms: int) -> EntryContext:
    """``context_of`` inside a transaction of the caller's."""
    ledger = ledger_at(connection, at_ms, cellar)
    titrants = [entry_of(row) for row in connection.execute(unstruck("kind = 'titrant'"))]
    return EntryContext(
        cellar=cellar,
        contents=ledger.at(at_ms),
        lots=ledger.lots,
        bottles=bottles_at(titrants, at_ms),
        last=newest_of(connection, kind),
        begun=begun_rackings(connection),
    )


def tried(store: Store, cellar: Cellar, kind: str, add: Add) -> tuple[Contents, ...]:
    """Find what the vessels of an entry hold after it, by adding it and taking that back before it is on disk.

    Raises AnswersWrong, EntryRefused, as ``write`` does.
    """
    with store.trial() as connection:
        entry = added(connection, kind, add)
        if not entry.places or KINDS[kind].ledger_step is None or not KINDS[kind].shows_contents(entry.body):
            return ()
        contents = ledger_at(connection, entry.at_ms, cellar).at(entry.at_ms)
        return tuple(contents[vessel] for vessel in entry.places if vessel in contents)


def added(connection: sqlite3.Connection, kind: str, add: Add) -> Entry:
    """Add an entry inside a transaction. A refusal that is about answers is raised as AnswersWrong."""
    try:
        return add(connection)
    except EntryRefused as error:
        raise _as_answers(kind, error) from None


def _as_answers(name: str, error: EntryRefused) -> IngestError:
    """A refusal that is about answers as such; one that is about what vessels hold as it is."""
    kind = KINDS[name]
    if error.later or not kind.questions or not error.problems or any(not each.key for each in error.problems):
        return error
    return AnswersWrong(
        [Wrong(question_of(kind, problem), f"{problem.value} {problem.allowed}".strip()) for problem in error.problems]
    )
