"""An entry's form as an amendment: it begins with what the entry says, and only what changes is given on."""

from __future__ import annotations

__all__ = ["amended_before", "amending"]

from datetime import UTC, datetime

from starlette.datastructures import FormData

from alerts.page.context import PageContext
from alerts.page.entering.entry_pages import Writing
from alerts.page.entering.entry_post import EntryPost, read_post
from alerts.page.entering.form_controls import control_of
from alerts.view.entries.entry_form import entry_form
from ingest.amending import Amendment, former_answers, prepare_amendment, write_amendment
from ingest.entering import Prepared, context_of
from ingest.journal.answers import Clock
from ingest.journal.entry import Entry, kind_words
from ingest.journal.kinds import KINDS
from ingest.store import Store
from ingest.store.journal.entries import entry as entry_of_number
from ingest.store.journal.idempotency_keys import KeyUsed, Once, key_used


def amending(context: PageContext, store: Store, number: int) -> Writing:
    """Make what the form of an amendment writes. Raises EntryRefused for an entry that cannot be amended."""
    cellar, now_ms = context.cellar, context.clock()
    zone = cellar.site.zone
    old, texts = former_answers(store, cellar, number, now_ms)
    kind = KINDS[old.kind]
    fields = entry_form(
        kind, texts, context_of(store, cellar, kind.name, old.at_ms), Clock(zone, now_ms), old.at_ms, as_they_are=None
    )
    # As the controls send them while nobody touches them.
    unchanged = {control.name: control.texts for control in (control_of(field, zone) for field in fields)}
    local = datetime.fromtimestamp(old.at_ms // 1000, UTC).astimezone(zone)
    date, time = f"{local:%Y-%m-%d}", f"{local:%H:%M}"

    def prepared(store: Store, post: EntryPost, with_later: bool) -> Prepared:
        is_elsewhen = (post.date, post.time) != (date, time)
        return prepare_amendment(
            store,
            cellar,
            number,
            {name: answers for name, answers in post.texts.items() if answers != unchanged.get(name)},
            who=post.who,
            now_ms=context.clock(),
            without=[name for name, answers in unchanged.items() if answers and name not in post.texts],
            at=post.at if is_elsewhen else None,
            reason=post.reason,
            with_later=with_later,
        ).prepared

    def written(store: Store, post: EntryPost, prepared: Prepared, with_later: bool, once: Once | None) -> Entry:
        amendment = Amendment(old, prepared, post.who, post.reason)
        return write_amendment(store, cellar, amendment, now_ms=context.clock(), with_later=with_later, once=once)

    return Writing(
        kind, f"Amend {kind_words(kind.name)} no. {number}", _action(number), prepared, written, old, texts, date, time
    )


def amended_before(store: Store, number: int, form: FormData) -> Entry | None:
    """Give the entry that this form has put in the place of another one before; None where it has not."""
    old = entry_of_number(store, number)
    if old is None or not KINDS[old.kind].questions:
        return None
    once = read_post(KINDS[old.kind], form).once(_action(number))
    try:
        entries = [] if once is None else key_used(store, once)
    except KeyUsed as error:
        entries = list(error.entries)
    return next(iter(entries), None)


def _action(number: int) -> str:
    return f"/journal/{number}/amend"
