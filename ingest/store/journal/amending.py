"""An entry of the stored journal is replaced by a corrected one, and struck as amended, in one transaction."""

from __future__ import annotations

__all__ = ["amend_entry", "amendable"]

import sqlite3

from ingest.cellar import Cellar
from ingest.errors import EntryRefused
from ingest.journal.balance import judge_amendment, refuse
from ingest.journal.entry import Draft, Entry, Strike
from ingest.journal.equipment import PlaceKinds
from ingest.journal.kinds import moves
from ingest.journal.requirements import draft_problems, words_problems
from ingest.store.journal.entries import cross_out, dependents, holding, next_number, strike_later
from ingest.store.journal.entry_rows import insert_entry
from ingest.store.journal.lot_location_rows import keep_contents
from ingest.store.journal.stored_ledger import equipment_of, load_ledger


def amendable(connection: sqlite3.Connection, entry_id: int) -> Entry:
    """Give the entry of a number if it still holds. Raises EntryRefused."""
    return holding(connection, entry_id, f"amendment of no. {entry_id}")


def amend_entry(
    connection: sqlite3.Connection,
    entry_id: int,
    draft: Draft,
    cellar: Cellar,
    by: Strike,
    *,
    with_later: bool = False,
) -> Entry:
    """Write an entry in the place of another one, which is struck; call inside a transaction.

    by: when, by whom and why; "" for no reason but the new entry. What follows is judged by the new entry. with_later:
    later entries that could then no longer be are struck with it. Raises EntryRefused with every problem, and the ids
    of those later entries.
    """
    old, now_ms = amendable(connection, entry_id), by.at_ms
    unreadable = [*words_problems("amendment", "who", by.who), *words_problems("amendment", "reason", by.reason)]
    if unreadable:
        raise EntryRefused(unreadable)
    first_id = old.id if old.in_place_of is None else old.in_place_of
    new = Entry(
        next_number(connection),
        draft.kind,
        draft.at_ms,
        now_ms,
        draft.who.strip(),
        draft.place,
        draft.lot,
        draft.body,
        in_place_of=first_id if draft.at_ms == old.at_ms else None,
    )
    equipment = equipment_of(connection, cellar, now_ms)
    without_lot = [] if (old.kind, old.lot) == (new.kind, new.lot) else dependents(connection, old)
    first = min(each.key for each in (old, new, *without_lot))
    ledger = load_ledger(connection, equipment, before=first)
    ledger.lots.remove(old.id)
    problems = draft_problems(draft, PlaceKinds(cellar, equipment), ledger.lots, now_ms)
    if problems:
        raise EntryRefused(problems)
    verdict = judge_amendment(ledger, old, new, without_lot)
    if verdict.objections or (verdict.later and not with_later):
        raise refuse(f"amendment of {old}", verdict)
    insert_entry(connection, new)
    reason = f"amended by {new.id}" + (f": {by.reason.strip()}" if by.reason.strip() else "")
    struck = Strike(max(now_ms, old.written_ms), by.who.strip(), reason, new.id)
    cross_out(connection, old, struck)
    ledger.strike(old.id)
    strike_later(connection, ledger, new, verdict.later, Strike(now_ms, struck.who, f"could not be with {new}"))
    ledger.add(new)
    if moves(new):
        keep_contents(connection, ledger, first)
    return new
