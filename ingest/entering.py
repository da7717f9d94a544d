"""Writing an entry down, from a person's answers to the store: for the command, the page, and programs.

    proposal = prepare(store, cellar, "titration", {"vessel": "K1", "titre": ["1.25 mL"], ...}, who="Ana", now_ms=now)
    entry = write(store, cellar, proposal, now_ms=now)

or both at once with ``enter``.
"""

from __future__ import annotations

__all__ = ["Prepared", "answered", "context_of", "enter", "moment", "prepare", "write"]

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

from ingest.cellar import Cellar
from ingest.errors import EntryRefused, IngestError
from ingest.journal.answers import AnswersWrong, Clock, Wrong
from ingest.journal.bodies import KINDS, Kind
from ingest.journal.cautions import caution
from ingest.journal.drafting import draft_entry, question_of
from ingest.journal.entry import Draft, Entry, places_of
from ingest.journal.entry_context import EntryContext
from ingest.journal.forms import FORMS, read_answers
from ingest.journal.ledger import Contents
from ingest.journal.movements import RackingBody
from ingest.journal.plausible import (
    dose_warnings,
    gas_warnings,
    gone_warnings,
    measured_warnings,
    stock_warnings,
)
from ingest.journal.reminders import left_warnings, racking_warnings
from ingest.journal.titrant_bottles import TitrantBottles, bottles_at
from ingest.journal.treatments import LotBody
from ingest.journal.wording import body_words
from ingest.store.connection import Store
from ingest.store.journal.begun_rackings import begun_rackings
from ingest.store.journal.entries import add_entry, entries
from ingest.store.journal.stored_ledger import contents, contents_inside
from ingest.times import Ambiguous, Skipped, spoken_moment

# What vessels hold after these is worth a look before they are written.
_SHOWN_AFTER: Final = frozenset(
    {"fill", "racking", "topping", "sample", "bottling", "state", "measurement", "addition"}
)

Told = Mapping[str, str | bool | Sequence[str]]


class Prepared(NamedTuple):
    """An entry that can be written. said: it in words; after: what the vessels that it names hold then; warnings: what
    a person should know; caution: one sentence where something dangerous is handled, else "".
    """

    draft: Draft
    said: str
    after: tuple[Contents, ...]
    warnings: tuple[str, ...]
    caution: str


class _TrialOnly(Exception):
    """Ends a transaction that was only tried."""


def enter(
    store: Store,
    cellar: Cellar,
    kind: Kind,
    told: Told,
    *,
    who: str,
    now_ms: int,
    at: str | None = None,
    with_later: bool = False,
) -> Entry:
    """Write an entry down from answers as texts: ``{"vessel": "K1", "volume": "19 L"}``.

    told: by the names of the kind's form (``ingest.journal.forms.FORMS``); at: when it happened, as a person writes it
    (``ingest.times.spoken_moment``), by default now. Raises AnswersWrong that names every answer that will not do,
    EntryRefused where the cellar's contents speak against it, Ambiguous, StoreError.
    """
    made = prepare(store, cellar, kind, told, who=who, now_ms=now_ms, at=at, with_later=with_later)
    return write(store, cellar, made, now_ms=now_ms, with_later=with_later)


def prepare(
    store: Store,
    cellar: Cellar,
    kind: Kind,
    told: Told,
    *,
    who: str,
    now_ms: int,
    at: str | None = None,
    with_later: bool = False,
) -> Prepared:
    """What ``enter`` would write, checked against the store as it is now; nothing is kept."""
    if kind not in KINDS or kind not in FORMS:
        raise IngestError(f"there is no form for an entry of kind '{kind}'; there are: {', '.join(FORMS)}")
    at_ms = moment(at, cellar, now_ms)
    given = read_answers(FORMS[kind], answered(told), Clock(cellar.site.zone, now_ms))
    background = context_of(store, cellar, kind, at_ms)
    draft, warnings = draft_entry(kind, given, background, who=who, at_ms=at_ms)
    after = _tried(store, cellar, draft, now_ms, with_later=with_later)
    named = [vessel for vessel in cellar.vessel if vessel.id in places_of(draft.place, draft.body)]
    warnings = (
        *gas_warnings(draft.body, named),
        *warnings,
        *stock_warnings(draft.body),
        *measured_warnings(draft.body),
        *dose_warnings(draft.body, after),
        *gone_warnings(draft.body, _before(store, cellar, draft)),
        *left_warnings(draft.body, after),
        *racking_warnings(draft, background.begun, cellar.site.zone),
    )
    warned = caution(
        kind,
        draft.body,
        glass=any(vessel.material == "glass" for vessel in named),
        pressure=any(vessel.under_gas for vessel in named),
    )
    return Prepared(draft, body_words(draft.body, draft.lot), after, warnings, warned)


def write(store: Store, cellar: Cellar, prepared: Prepared, *, now_ms: int, with_later: bool = False) -> Entry:
    """Write down what was prepared, all of it or nothing; it is checked again, since others may have written."""
    with store.write() as connection:
        try:
            return add_entry(connection, prepared.draft, cellar, now_ms, with_later=with_later)
        except EntryRefused as error:
            raise _as_answers(prepared.draft.kind, error) from None


def moment(at: str | None, cellar: Cellar, now_ms: int) -> int:
    """When it happened (UTC ms). Raises AnswersWrong for what is no time, Ambiguous."""
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


def answered(told: Told) -> dict[str, tuple[str, ...]]:
    """Answers as ``read_answers`` takes them; what is empty is left out."""
    found: dict[str, tuple[str, ...]] = {}
    for name, value in told.items():
        if isinstance(value, bool):
            texts: tuple[str, ...] = ("yes",) if value else ()
        else:
            texts = (value,) if isinstance(value, str) else tuple(value)
        if texts:
            found[name] = texts
    return found


def context_of(store: Store, cellar: Cellar, kind: Kind, at_ms: int) -> EntryContext:
    """What an entry of that kind and time (UTC ms) is understood by."""
    lots: dict[str, LotBody] = {}
    bottles = TitrantBottles({}, {})
    if kind == "titration":
        bottles = bottles_at(entries(store, kinds=["titrant"], struck=False), at_ms)
        for one in entries(store, kinds=["lot"], struck=False):
            # A lot that was written down later than its wine was titrated is better than none.
            if isinstance(one.body, LotBody) and one.lot is not None and (one.at_ms <= at_ms or one.lot not in lots):
                lots[one.lot] = one.body
    last = entries(store, kinds=[kind], struck=False, newest=1)
    with store.read() as connection:
        begun = begun_rackings(connection)
    return EntryContext(
        cellar,
        contents(store, at_ms, cellar) if kind == "titration" else {},
        bottles.there,
        bottles.later,
        lots,
        last[0] if last else None,
        begun,
    )


def _before(store: Store, cellar: Cellar, draft: Draft) -> Contents | None:
    """What the vessel held that a bottling or a state is about."""
    if draft.kind not in ("bottling", "state") or draft.place is None:
        return None
    return contents(store, draft.at_ms, cellar).get(draft.place)


def _tried(store: Store, cellar: Cellar, draft: Draft, now_ms: int, *, with_later: bool) -> tuple[Contents, ...]:
    """What the vessels of an entry hold after it, by writing it and taking that back before it is on disk."""
    after: list[Contents] = []
    try:
        with store.write() as connection:
            made = add_entry(connection, draft, cellar, now_ms, with_later=with_later)
            named = places_of(made.place, made.body)
            begun = isinstance(draft.body, RackingBody) and draft.body.stage == "begun"
            if named and draft.kind in _SHOWN_AFTER and not begun:
                held = contents_inside(connection, made.at_ms, cellar)
                after = [held[vessel] for vessel in named if vessel in held]
            raise _TrialOnly
    except _TrialOnly:
        return tuple(after)
    except EntryRefused as error:
        raise _as_answers(draft.kind, error) from None


def _as_answers(kind: Kind, error: EntryRefused) -> IngestError:
    """A refusal that is about answers as such; one that is about what vessels hold as it is."""
    if error.later or not error.problems or any(not problem.key for problem in error.problems):
        return error
    form = FORMS.get(kind)
    if form is None:
        return error
    return AnswersWrong(
        [Wrong(question_of(form, problem), f"{problem.value} {problem.allowed}".strip()) for problem in error.problems]
    )
