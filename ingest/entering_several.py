"""Several titrations of one day: what is common to them is given once, and all are written together or none."""

from __future__ import annotations

__all__ = ["COMMON", "prepare_line", "write_several"]

from collections.abc import Mapping, Sequence
from typing import Final

from ingest.cellar import Cellar
from ingest.entering import Add, Answers, Prepared, added, prepare
from ingest.journal.answers import AnswersWrong, Wrong
from ingest.journal.entry import Draft, Entry
from ingest.journal.kinds.titration import TITRATION
from ingest.journal.titration_lines import read_titration_line, wine_named
from ingest.store import Store
from ingest.store.journal.entries import add_entry
from ingest.store.journal.idempotency_keys import Once, write_once
from ingest.store.journal.stored_ledger import ledger_at

# What is asked once. The others are of one wine.
COMMON: Final = (
    "quantity", "method", "titrant", "strength", "substance", "factor", "sample", "blank", "end_point", "remark"
)  # fmt: skip


def prepare_line(
    store: Store,
    cellar: Cellar,
    common: Mapping[str, str | Sequence[str]],
    text: str,
    *,
    who: str,
    now_ms: int,
    at: str | None = None,
) -> Prepared:
    """Make the titration of one line, checked against the store as it is; nothing is kept.

    common: answers to ``COMMON`` that hold for all. Raises AnswersWrong, EntryRefused.
    """
    elsewhere = _only(common.get("method")) == "elsewhere"
    try:
        line = read_titration_line(text, "mg/L" if elsewhere else "mL")
    except ValueError as error:
        raise AnswersWrong([Wrong("lines", str(error))]) from None
    if elsewhere and len(line.amounts) > 1:
        raise AnswersWrong([Wrong("lines", f"'{text.strip()}' has {len(line.amounts)} results; give one a line")])
    found: Answers = {"result": line.amounts[0]} if elsewhere else {"titre": line.amounts}
    answers = {**common, **_wine(store, cellar, line.name, now_ms), **found}
    return prepare(store, cellar, TITRATION.name, answers, who=who, now_ms=now_ms, at=at)


def write_several(
    store: Store, cellar: Cellar, drafts: Sequence[Draft], *, now_ms: int, once: Once | None = None
) -> list[Entry]:
    """Write entries down in one transaction, all of them or none; each is checked again.

    once: the request's key; the same request again gives the entries that it wrote. Raises KeyUsed.
    """
    with store.write() as connection:

        def write() -> list[Entry]:
            return [added(connection, draft.kind, _adding(draft, cellar, now_ms)) for draft in drafts]

        return write_once(connection, once, now_ms, write)


def _adding(draft: Draft, cellar: Cellar, now_ms: int) -> Add:
    return lambda inside: add_entry(inside, draft, cellar, now_ms)


def _only(value: str | Sequence[str] | None) -> str | None:
    return value if value is None or isinstance(value, str) else next(iter(value), None)


def _wine(store: Store, cellar: Cellar, name: str, now_ms: int) -> dict[str, str]:
    """The wine that a name means, as an answer."""
    with store.read() as connection:
        lots = ledger_at(connection, now_ms, cellar).lots.names
    try:
        return wine_named(name, (vessel.id for vessel in cellar.vessel), lots)
    except ValueError as error:
        raise AnswersWrong([Wrong("lines", str(error))]) from None
