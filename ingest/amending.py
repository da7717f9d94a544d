"""Amending an entry: from what a person says otherwise to a corrected entry in its place.

amendment = prepare_amendment(store, cellar, 12, {"volume": "18.4 L"}, who="Ana", now_ms=now)
entry = write_amendment(store, cellar, amendment, now_ms=now)
"""

from __future__ import annotations

__all__ = ["Amendment", "amend_inside", "former_answers", "prepare_amendment", "write_amendment"]

import json
import sqlite3
from collections.abc import Sequence
from typing import Any, NamedTuple

from ingest.cellar import Cellar
from ingest.entering import Answers, Prepared, added, answered, context_inside, judged, moment, tried, with_typed
from ingest.errors import EntryRefused, Problem
from ingest.journal.answers import AnswersWrong, Clock, Wrong
from ingest.journal.body import BESIDE_FACTS, Body, body_data
from ingest.journal.drafting import DraftedEntry, draft_entry, given_of, read_answers
from ingest.journal.entry import Draft, Entry, Strike
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds import KINDS
from ingest.journal.kinds.kind import EntryKind, place_question
from ingest.journal.ledger import Ledger
from ingest.store import Store
from ingest.store.journal.amending import amend_entry, amendable
from ingest.store.journal.entry_rows import insert_strike
from ingest.store.journal.idempotency_keys import Once, write_once
from ingest.store.journal.stored_ledger import equipment_of


class Amendment(NamedTuple):
    """A corrected entry that can be written. old: the entry that it replaces; who: who amends it; reason: "" for none
    but the new entry.
    """

    old: Entry
    prepared: Prepared
    who: str
    reason: str


def former_answers(store: Store, cellar: Cellar, entry_id: int, now_ms: int) -> tuple[Entry, dict[str, list[str]]]:
    """Give an entry that can be amended, with vessels as they are called now, and the answers that it was made of.

    The answers are texts by question, amounts as they were typed. Raises EntryRefused for an entry that cannot be
    amended.
    """
    with store.read() as connection:
        old, kind = _amendable(connection, cellar, entry_id, now_ms)
    given = given_of(kind, old, place_question(_kind_of_place(cellar, old.place)))
    texts: dict[str, list[str]] = {}
    for question in kind.questions:
        if question.name in given:
            values = given[question.name] if question.many else [given[question.name]]
            texts[question.name] = [question.answer.write(value) for value in values]
    return old, texts | {typed.question: [typed.text] for typed in old.body.typed if typed.question in texts}


def prepare_amendment(
    store: Store,
    cellar: Cellar,
    entry_id: int,
    answers: Answers,
    *,
    who: str,
    now_ms: int,
    without: Sequence[str] = (),
    at: str | None = None,
    reason: str = "",
    with_later: bool = False,
) -> Amendment:
    """Make the corrected entry, checked against the store as if the old one had never been; nothing is kept.

    answers: those that change, by question; without: questions whose answer is taken away; at: another time, as a
    person writes it. Who did it stays. What is worked out is worked out again, with the bottles and wines as the
    journal has them now. Raises AnswersWrong, EntryRefused (also where nothing would change), Ambiguous, StoreError.
    """
    old, kind, drafted, context = _drafted(store, cellar, entry_id, answers, without, who, at, now_ms)
    if _same(kind, old, drafted.draft):
        raise _refused(entry_id, f"nothing would change: {old} says so already; give what changes")

    def amend(connection: sqlite3.Connection) -> Entry:
        by = Strike(now_ms, who, reason)
        return amend_entry(connection, entry_id, drafted.draft, cellar, by, with_later=with_later)

    prepared = judged(cellar, drafted, context, tried(store, cellar, kind.name, amend), now_ms)
    return Amendment(old, prepared, who, reason)


def write_amendment(
    store: Store,
    cellar: Cellar,
    amendment: Amendment,
    *,
    now_ms: int,
    with_later: bool = False,
    once: Once | None = None,
) -> Entry:
    """Write the corrected entry and strike the old one, both or neither; it is checked again.

    once: the request's key; the same request again gives the entry that it wrote. Raises KeyUsed.
    """
    with store.write() as connection:

        def write() -> list[Entry]:
            return [amend_inside(connection, cellar, amendment, now_ms=now_ms, with_later=with_later)]

        return write_once(connection, once, now_ms, write)[0]


def amend_inside(
    connection: sqlite3.Connection, cellar: Cellar, amendment: Amendment, *, now_ms: int, with_later: bool = False
) -> Entry:
    """``write_amendment`` inside a transaction of the caller's, for several that belong together."""
    draft, by = amendment.prepared.draft, Strike(now_ms, amendment.who, amendment.reason)
    return added(
        connection,
        draft.kind,
        lambda inside: amend_entry(inside, amendment.old.id, draft, cellar, by, with_later=with_later),
    )


def _drafted(
    store: Store,
    cellar: Cellar,
    entry_id: int,
    answers: Answers,
    without: Sequence[str],
    who: str,
    at: str | None,
    now_ms: int,
) -> tuple[Entry, EntryKind[Any], DraftedEntry, EntryContext]:
    """The old entry as vessels are called now, its kind, and the new draft by what is known without the old one."""
    with store.trial() as connection:
        old, kind = _amendable(connection, cellar, entry_id, now_ms)
        at_ms = old.at_ms if at is None else moment(at, cellar, now_ms)
        insert_strike(connection, old.id, Strike(now_ms, who, "to be amended"))
        context = context_inside(connection, cellar, kind.name, at_ms)
        was = given_of(kind, old, place_question(_kind_of_place(cellar, old.place)))
        _refuse_unsayable(kind, old, was, context)
        given = _changed(kind, was, answers, without, Clock(cellar.site.zone, now_ms))
        drafted = draft_entry(kind, given, context, who=old.who, at_ms=at_ms)
        return old, kind, with_typed(drafted, answered(answers), given, old.body.typed), context


def _amendable(
    connection: sqlite3.Connection, cellar: Cellar, entry_id: int, now_ms: int
) -> tuple[Entry, EntryKind[Any]]:
    """The entry as vessels are called now, and its kind. Raises EntryRefused."""
    old = Ledger((), equipment_of(connection, cellar, now_ms)).named(amendable(connection, entry_id))
    kind = KINDS[old.kind]
    if not kind.questions:
        raise _refused(entry_id, f"a {kind.name} cannot be amended: strike it, and write it down again")
    return old, kind


def _kind_of_place(cellar: Cellar, place: str | None) -> str | None:
    """The kind of a place, None for one that is no longer in the cellar file."""
    return next((each.kind for each in cellar.places if each.id == place), None)


def _changed(
    kind: EntryKind[Any], was: dict[str, Any], answers: Answers, without: Sequence[str], clock: Clock
) -> dict[str, Any]:
    """The old answers with the new ones in their place."""
    news = read_answers(kind, answered(answers), clock)
    stray = [name for name in without if name not in was]
    if stray:
        given = ", ".join(was)
        raise AnswersWrong([Wrong("without", f"the entry does not say {name}; it says: {given}") for name in stray])
    gone = {*without, *(name for new in news for name in kind.instead_of.get(new, ()) if name not in news)}
    return {**{name: value for name, value in was.items() if name not in gone}, **news}


def _refuse_unsayable(kind: EntryKind[Any], old: Entry, was: dict[str, Any], context: EntryContext) -> None:
    """Refuse to amend an entry that came by an import and says more than its questions ask."""
    try:
        again = draft_entry(kind, was, context, who=old.who, at_ms=old.at_ms).draft.body
    except AnswersWrong:
        return  # what it was worked out from is no longer there; the new answers are judged by themselves
    mine, theirs = _said(kind, old.body), _said(kind, again)
    lost = [key for key in mine if mine[key] != theirs.get(key)]
    if lost:
        why = f"no option can say its {', '.join(lost)}: strike it, and write or import it again"
        raise _refused(old.id, why)


def _same(kind: EntryKind[Any], old: Entry, draft: Draft) -> bool:
    def facts(each: Entry | Draft) -> tuple[Any, ...]:
        return (each.at_ms, each.place, each.lot, json.loads(body_data(each.body.model_copy(update=BESIDE_FACTS))))

    return facts(old) == facts(draft)


def _said(kind: EntryKind[Any], body: Body) -> dict[str, Any]:
    """What somebody said in a body."""
    data: dict[str, Any] = json.loads(body_data(body))
    return {key: value for key, value in data.items() if key not in {*kind.worked_out(body), *BESIDE_FACTS}}


def _refused(entry_id: int, why: str) -> EntryRefused:
    return EntryRefused([Problem(f"amendment of no. {entry_id}", "", "", why)])
