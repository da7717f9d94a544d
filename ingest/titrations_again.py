"""Titrations whose bottle has another strength in the journal now than when they were written, worked out again."""

from __future__ import annotations

__all__ = ["Outdated", "outdated_titrations", "write_again"]

from collections.abc import Collection, Sequence
from typing import NamedTuple

from ingest.amending import Amendment, amend_inside, prepare_amendment
from ingest.cellar import Cellar
from ingest.errors import EntryRefused
from ingest.journal.answers import AnswersWrong
from ingest.journal.entry import Entry
from ingest.journal.kinds.titration import TitrationBody
from ingest.journal.titrant_bottles import bottles_at
from ingest.store import Store
from ingest.store.journal.entries import entries


class Outdated(NamedTuple):
    """A titration that was worked out with another strength. again: the same with that of now; why: why it cannot be
    worked out again, else "".
    """

    entry: Entry
    again: Amendment | None
    why: str = ""


def outdated_titrations(
    store: Store, cellar: Cellar, names: Collection[str], *, who: str, now_ms: int
) -> list[Outdated]:
    """Find the titrations with bottles of these names that would give something else now, in their order."""
    titrants = entries(store, kinds=["titrant"], struck=False)
    found = []
    for entry in entries(store, kinds=["titration"], struck=False):
        body = entry.body
        if not isinstance(body, TitrationBody) or body.titrant is None or body.titrant not in names:
            continue
        bottle = bottles_at(titrants, entry.at_ms).there.get(body.titrant)
        if bottle is not None and (bottle.strength, bottle.factor) == (body.strength, body.factor):
            continue
        reason = f"the bottle {body.titrant} has another strength"
        try:
            again = prepare_amendment(store, cellar, entry.id, {}, who=who, now_ms=now_ms, reason=reason)
        except (AnswersWrong, EntryRefused) as error:
            found.append(Outdated(entry, None, str(error)))
        else:
            found.append(Outdated(entry, again))
    return found


def write_again(store: Store, cellar: Cellar, outdated: Sequence[Outdated], *, now_ms: int) -> list[Entry]:
    """Amend those that can be worked out again, all of them or none."""
    with store.write() as connection:
        return [
            amend_inside(connection, cellar, each.again, now_ms=now_ms) for each in outdated if each.again is not None
        ]
