"""The stored journal: entries are added and struck, never changed, and every check is made inside the transaction.

So of two people who write at one moment the second is checked against what the first has written.
"""

from __future__ import annotations

__all__ = [
    "add_entry",
    "cross_out",
    "dependents",
    "entries",
    "entry",
    "entry_inside",
    "holding",
    "newest_of",
    "next_number",
    "strike",
    "strike_later",
    "struck_along",
    "write_entry",
]

import sqlite3
from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Any, Final

from ingest.cellar import Cellar
from ingest.errors import EntryRefused, Problem
from ingest.journal.balance import BalanceProblem, judge_entry, judge_strike, refuse
from ingest.journal.entry import Draft, Entry, Strike, kind_words
from ingest.journal.equipment import Equipment, PlaceKinds
from ingest.journal.kinds import moves
from ingest.journal.ledger import Ledger
from ingest.journal.requirements import draft_problems, words_problems
from ingest.store.connection import Store
from ingest.store.journal.calibration_parts import apply_calibration, take_back_calibration
from ingest.store.journal.entry_rows import ENTRY_ROWS, PLACE_IN_ORDER, entry_of, insert_entry, insert_strike, unstruck
from ingest.store.journal.lot_location_rows import keep_contents, lot_query
from ingest.store.journal.stored_ledger import equipment_of, load_ledger


def write_entry(store: Store, draft: Draft, cellar: Cellar, now_ms: int, *, with_later: bool = False) -> Entry:
    """Write an entry down if it can be; otherwise nothing of it is kept.

    cellar: the cellar file as it is now; now_ms: UTC ms. with_later: later entries that could then no longer be are
    struck with it. Raises EntryRefused with every problem, and the ids of those later entries; StoreError.
    """
    with store.write() as connection:
        return add_entry(connection, draft, cellar, now_ms, with_later=with_later)


def add_entry(
    connection: sqlite3.Connection, draft: Draft, cellar: Cellar, now_ms: int, *, with_later: bool = False
) -> Entry:
    """``write_entry`` inside a transaction of the caller's, for what is to be kept together with the entry."""
    equipment = equipment_of(connection, cellar, now_ms)
    written = Entry(
        next_number(connection), draft.kind, draft.at_ms, now_ms, draft.who.strip(), draft.place, draft.lot, draft.body
    )
    key = written.key
    ledger = load_ledger(connection, equipment, before=key)
    problems = draft_problems(draft, PlaceKinds(cellar, equipment), ledger.lots, now_ms)
    if problems:
        raise EntryRefused(problems)
    verdict = judge_entry(ledger, written)
    if verdict.objections or (verdict.later and not with_later):
        raise refuse(f"{kind_words(written.kind)} {_where(written)}".strip(), verdict)
    insert_entry(connection, written)
    if written.kind == "calibration":
        apply_calibration(connection, written)
    strike_later(
        connection, ledger, written, verdict.later, Strike(now_ms, written.who, f"could not be with {written}")
    )
    if moves(written):
        ledger.add(written)
        keep_contents(connection, ledger, key)
    return written


def strike(store: Store, entry_id: int, who: str, reason: str, now_ms: int, *, with_later: bool = False) -> list[Entry]:
    """Cross an entry out; it stays readable. Gives what was struck, itself first.

    with_later: entries that could then no longer be are struck with it. Raises EntryRefused for an entry that is not
    there or is struck already, for a missing name or reason, and, with their ids, for later entries that could no
    longer be; StoreError.
    """
    name = f"strike of no. {entry_id}"
    if not who.strip():
        raise EntryRefused([Problem(name, "who", "", "is missing: say who strikes it")])
    if not reason.strip():
        raise EntryRefused([Problem(name, "reason", "", "is missing: say why; the entry stays readable with it")])
    unreadable = [*words_problems(name, "who", who), *words_problems(name, "reason", reason)]
    if unreadable:
        raise EntryRefused(unreadable)
    with store.write() as connection:
        struck = holding(connection, entry_id, name)
        without_lot = dependents(connection, struck)
        first = min(each.key for each in (struck, *without_lot))
        ledger = load_ledger(connection, equipment_of(connection), before=first)
        verdict = judge_strike(ledger, struck, without_lot)
        if verdict.later and not with_later:
            raise refuse(f"strike of {struck}", verdict)
        # A clock that was set back does not strike an entry before it was written.
        by = Strike(max(now_ms, struck.written_ms), who.strip(), reason.strip())
        cross_out(connection, struck, by)
        ledger.strike(struck.id)
        strike_later(connection, ledger, struck, verdict.later, by)
        ids = (struck.id, *(problem.entry.id for problem in verdict.later))
        gone = [entry for entry in (entry_inside(connection, id) for id in ids) if entry is not None]
        if any(moves(entry) for entry in gone):
            keep_contents(connection, ledger, first)
        return gone


def cross_out(connection: sqlite3.Connection, entry: Entry, strike: Strike) -> None:
    """Strike an entry, and take back what it did to a probe's scale; call inside the transaction that checked it."""
    insert_strike(connection, entry.id, strike)
    if entry.kind == "calibration":
        take_back_calibration(connection, entry, strike.who, strike.at_ms)


def strike_later(
    connection: sqlite3.Connection, ledger: Ledger, cause: Entry, later: Sequence[BalanceProblem], by: Strike
) -> None:
    """Strike entries that can no longer be because of another one; call inside a transaction."""
    for impossible in later:
        cross_out(connection, impossible.entry, replace(by, together_with=cause.id))
        ledger.strike(impossible.entry.id)


def dependents(connection: sqlite3.Connection, struck: Entry) -> list[Entry]:
    """Entries that name a lot that no other entry than this one declares."""
    if struck.kind != "lot":
        return []
    rows = connection.execute(unstruck("lot = ? AND entry.id <> ?"), (struck.lot, struck.id))
    others = [entry_of(row) for row in rows]
    return [] if any(other.kind == "lot" for other in others) else others


def next_number(connection: sqlite3.Connection) -> int:
    """Give the number of the next entry; call inside the transaction that writes it."""
    return int(connection.execute("SELECT coalesce(max(id), 0) + 1 FROM entry").fetchone()[0])


def _where(entry: Entry) -> str:
    places = entry.places
    return f"({', '.join(places)})" if places else entry.lot or ""


def entry(store: Store, entry_id: int) -> Entry | None:
    """One entry, struck or not; None if there is none of that number."""
    return entry_inside(store.connection, entry_id)


def newest_of(connection: sqlite3.Connection, kind: str) -> Entry | None:
    """Find the newest entry of a kind that holds. Call inside a transaction."""
    row = connection.execute(
        f"{ENTRY_ROWS} WHERE kind = ? AND strike.id IS NULL"
        f" ORDER BY entry.at_ms DESC, {PLACE_IN_ORDER} DESC, entry.id DESC LIMIT 1",
        (kind,),
    ).fetchone()
    return None if row is None else entry_of(row)


def struck_along(store: Store, entry_id: int) -> list[Entry]:
    """The entries that were struck because this one was written or struck, in the order in which they were written."""
    return [
        entry_of(row)
        for row in store.connection.execute(
            f"{ENTRY_ROWS} WHERE strike.together_with = ? ORDER BY entry.id", (entry_id,)
        )
    ]


def entry_inside(connection: sqlite3.Connection, entry_id: int) -> Entry | None:
    """``entry`` inside a transaction of the caller's."""
    row = connection.execute(f"{ENTRY_ROWS} WHERE entry.id = ?", (entry_id,)).fetchone()
    return None if row is None else entry_of(row)


def holding(connection: sqlite3.Connection, entry_id: int, act: str) -> Entry:
    """Give the entry of a number if it still holds. act: what is to be done with it, for EntryRefused, which it raises.

    Call inside a transaction.
    """
    there = entry_inside(connection, entry_id)
    if there is None:
        raise EntryRefused([Problem(act, "", "", "there is no entry of that number")])
    if there.struck is not None:
        why = f"{there} was struck already by {there.struck.who}: {there.struck.reason}"
        raise EntryRefused([Problem(act, "", "", why)])
    return there


def entries(
    store: Store,
    *,
    vessel: str | None = None,
    lot: str | None = None,
    kinds: Collection[str] = (),
    from_ms: int | None = None,
    to_ms: int | None = None,
    struck: bool = True,
    newest: int | None = None,
) -> list[Entry]:
    """Entries in the order in which they happened (two of one time: in which they were written).

    vessel: that speak of this vessel (or cylinder, or room), also under a former name; lot: that name the lot, or speak
    of a vessel while it was there; kinds: of these kinds, all by default; from_ms, to_ms: happened from and before (UTC
    ms); struck: struck ones as well; newest: no more than so many, the newest.
    """
    with store.read() as connection:
        equipment = equipment_of(connection)
        conditions, values = _conditions(equipment, vessel, kinds, from_ms, to_ms, struck=struck)
        locations = None
        if lot is not None:
            locations, of_lot = lot_query(connection, equipment, lot)
            conditions.append(_LOT_OR_THERE)
            values += of_lot
        newest_first = f"entry.at_ms DESC, {PLACE_IN_ORDER} DESC, entry.id DESC"
        query = f"{ENTRY_ROWS} WHERE {' AND '.join(conditions) or '1'} ORDER BY {newest_first}"
        chosen: list[Entry] = []
        for row in connection.execute(query, values):
            each = entry_of(row)
            names = [equipment.name_now(place, each.written_ms) for place in each.places]
            if vessel is not None and vessel not in names:
                continue  # another vessel had that name before
            there = locations is None or any(locations.at(name, *each.key) for name in names)
            if there or each.lot == lot:
                chosen.append(each)
                if len(chosen) == newest:
                    break
    return chosen[::-1]


# Entries that name a lot, or that speak in its time of a vessel that it was in at some time.
_LOT_OR_THERE: Final = (
    "(entry.lot = ? OR (entry.at_ms BETWEEN ? AND ? AND entry.id IN"
    " (SELECT entry FROM entry_place WHERE place IN (SELECT value FROM json_each(?)))))"
)


def _conditions(
    equipment: Equipment,
    vessel: str | None,
    kinds: Collection[str],
    from_ms: int | None,
    to_ms: int | None,
    *,
    struck: bool,
) -> tuple[list[str], list[Any]]:
    conditions: list[str] = []
    values: list[Any] = []
    if vessel is not None:
        names = sorted(equipment.names_ever(vessel))
        marks = ",".join("?" * len(names))
        conditions.append(f"entry.id IN (SELECT entry FROM entry_place WHERE place IN ({marks}))")  # noqa: S608  question marks
        values += names
    if kinds:
        conditions.append(f"kind IN ({','.join('?' * len(kinds))})")
        values += kinds
    if from_ms is not None:
        conditions.append("entry.at_ms >= ?")
        values.append(from_ms)
    if to_ms is not None:
        conditions.append("entry.at_ms < ?")
        values.append(to_ms)
    if not struck:
        conditions.append("strike.id IS NULL")
    return conditions, values
