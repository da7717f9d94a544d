"""The steps of a form that writes an entry: fill it in, look at what it gives, save it.

A new entry and an amended one take the same steps. Nothing is written before a person has seen what would be: the look
carries a mark of it, and if that has changed when it is to be saved, it is shown again.
"""

from __future__ import annotations

__all__ = ["CHANGED", "WARNED", "not_ready", "prepared_mark", "take_step", "written_before"]

from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from typing import Final

from fastapi import Response

from alerts.page.entering.entry_pages import EntryPages, FormProblem, Unready, written_response
from alerts.page.entering.entry_post import EntryPost, with_new_key
from alerts.page.entering.later_entries import prepared_with_later
from alerts.view.entries.entry_form import without_stale_offers
from ingest.entering import Prepared
from ingest.errors import EntryRefused, IngestError, StoreError
from ingest.journal.answers import AnswersWrong, Clock
from ingest.journal.body import body_data
from ingest.journal.entry import Entry
from ingest.store import Store
from ingest.store.journal.idempotency_keys import KeyUsed, Once, key_used
from ingest.times import Ambiguous

CHANGED: Final = "What it gives has changed since you looked at it. Look again."
WARNED: Final = "Look at the warning again. If all is right, say so below it."


def take_step(pages: EntryPages, post: EntryPost, refusal: str) -> Response:
    """Answer a form that was sent. refusal: why it may not write, "" where it may."""
    if refusal:
        why = f"Nothing was written. {refusal} What you filled in is below."
        return pages.form(post, Unready((FormProblem("", why),), 403))
    if post.step in ("fields", "change"):
        return pages.form(post, offers=post.step == "fields")
    if post.step == "take" and pages.writing.take is not None:
        return _taken(pages, post, pages.writing.take)
    post = post if post.key else with_new_key(post)
    once = post.once(pages.writing.action)
    before, notice = written_before(pages.store, once)
    if before and not notice:
        return written_response(before, was_written=True)
    if notice:
        post, once = with_new_key(post), None
    try:
        return _looked_or_saved(pages, post, once, notice)
    except StoreError:
        raise
    except IngestError as error:
        return pages.form(post, not_ready(error))


def _taken(pages: EntryPages, post: EntryPost, take: Callable[[Store, EntryPost], EntryPost]) -> Response:
    """Show the form again, with what the probe shows now as a reading, or why that cannot be taken yet."""
    try:
        return pages.form(take(pages.store, post))
    except StoreError:
        raise
    except IngestError as error:
        return pages.form(post, not_ready(error))


def _looked_or_saved(pages: EntryPages, post: EntryPost, once: Once | None, notice: str) -> Response:
    """Save what was looked at, or show what would be saved. Raises IngestError for what cannot be."""
    context, writing, store = pages.context, pages.writing, pages.store
    clock = Clock(context.cellar.site.zone, context.clock())
    texts = without_stale_offers(writing.kind, post.texts, post.offers, clock)
    asked = replace(post, texts={name: list(answers) for name, answers in texts.items()})
    prepared, later = prepared_with_later(
        lambda with_later: writing.prepare(store, asked, with_later), with_later=asked.with_later
    )
    mark = prepared_mark(prepared, is_dated=asked.at is not None)
    if post.step == "save" and not notice:
        notice = _why_not_yet(post, prepared, mark)
        if not notice:
            return written_response([writing.write(store, asked, prepared, bool(later), once)], who=asked.who)
    return pages.look(post, prepared, mark, later, notice)


def written_before(store: Store, once: Once | None) -> tuple[list[Entry], str]:
    """What this form has written before, and what to say of it where it asks for something else now."""
    try:
        return ([] if once is None else key_used(store, once)), ""
    except KeyUsed as error:
        numbers = ", ".join(f"no. {entry.id}" for entry in error.entries)
        return list(error.entries), f"This form has written {numbers} already. Saving it now writes another entry."


def not_ready(error: IngestError) -> Unready:
    """Say why a form cannot be written, with the status of the answer."""
    if isinstance(error, Ambiguous):
        return Unready((FormProblem("at", str(error)),), 422, ways=error.ways)
    if isinstance(error, AnswersWrong):
        return Unready(tuple(FormProblem(wrong.field, wrong.why) for wrong in error.wrong), 422)
    if isinstance(error, EntryRefused):
        return Unready(tuple(FormProblem("", str(each)) for each in error.problems), 409, later=error.later)
    return Unready((FormProblem("", str(error)),), 422)


def _why_not_yet(post: EntryPost, prepared: Prepared, mark: str) -> str:
    """Why an entry that is to be saved is shown again instead, "" if it is not."""
    if post.seen != mark:
        return CHANGED
    return WARNED if prepared.warnings and not post.is_warned else ""


def prepared_mark(prepared: Prepared, *, is_dated: bool) -> str:
    """What stands for all that a person is shown of an entry. is_dated: its time was given, and is not just now."""
    draft = prepared.draft
    shown = (
        draft.kind, draft.place, draft.lot, draft.who, draft.at_ms if is_dated else None, body_data(draft.body),
        prepared.words, prepared.warnings, prepared.notes, prepared.caution, prepared.after,
    )  # fmt: skip
    return sha256(repr(shown).encode("utf-8", "backslashreplace")).hexdigest()
