"""The stored journal: entries are added and struck, never changed, and every check is made inside the transaction.

So of two people who write at one moment the second is checked against what the first has written.
"""

from __future__ import annotations

__all__ = ["add_entry", "entries", "entry", "strike", "write_entry"]

import json
import sqlite3
from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Any, Final

from ingest.cellar import Cellar
from ingest.errors import EntryRefused, Problem
from ingest.journal.balance import BalanceProblem, BalanceVerdict, judge_entry, judge_strike, refuse
from ingest.journal.entry import Draft, Entry, Strike, places_of
from ingest.journal.equipment import Equipment, PlaceKinds
from ingest.journal.kinds import moves
from ingest.journal.ledger import Ledger
from ingest.journal.lot_locations import LotLocation, LotLocations, joined_locations
from ingest.journal.requirements import draft_problems, words_problems
from ingest.store.connection import Store
from ingest.store.journal.calibration_parts import apply_calibration, take_back_calibration
from ingest.store.journal.entry_rows import ENTRY_ROWS, entry_of, insert_entry, insert_strike, unstruck
from ingest.store.journal.lot_location_rows import keep_contents, stored_lot_locations
from ingest.store.journal.stored_ledger import equipment_of, load_ledger
from ingest.times import END_OF_TIME_MS


def write_entry(store: Store, draft: Draft, cellar: Cellar, now_ms: int, *, with_later: bool = False) -> Entry:
    """Write an entry down if it can be; nothing of it is kept otherwise.

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
    number = int(connection.execute("SELECT coalesce(max(id), 0) + 1 FROM entry").fetchone()[0])
    made = Entry(number, draft.kind, draft.at_ms, now_ms, draft.who.strip(), draft.place, draft.lot, draft.body)
    key = (made.at_ms, made.id)
    folding = load_ledger(connection, equipment, before=key)
    kind_of = PlaceKinds(cellar, equipment).at(draft.at_ms)
    problems = draft_problems(draft, kind_of, folding.lots, folding.lots.names, now_ms)
    if problems:
        raise EntryRefused(problems)
    verdict = judge_entry(folding, made)
    if verdict.objections or (verdict.later and not with_later):
        raise refuse(f"{made.kind} {_where(made)}".strip(), verdict)
    insert_entry(connection, made)
    if made.kind == "calibration":
        apply_calibration(connection, made)
    _strike_later(connection, folding, made, verdict.later, Strike(now_ms, made.who, f"could not be with {made}"))
    if moves(made):
        folding.add(made)
        keep_contents(connection, folding, key)
    return made


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
        struck = _entry(connection, entry_id)
        if struck is None:
            raise EntryRefused([Problem(name, "", "", "there is no entry of that number")])
        if struck.struck is not None:
            why = f"{struck} was struck already by {struck.struck.who}: {struck.struck.reason}"
            raise EntryRefused([Problem(name, "", "", why)])
        dependents = _dependents(connection, struck)
        first = min((one.at_ms, one.id) for one in (struck, *dependents))
        folding = load_ledger(connection, equipment_of(connection), before=first)
        verdict = _strike_verdict(folding, struck, dependents)
        if verdict.later and not with_later:
            raise refuse(f"strike of {struck}", verdict)
        by = Strike(now_ms, who.strip(), reason.strip())
        insert_strike(connection, struck.id, by)
        if struck.kind == "calibration":
            take_back_calibration(connection, struck, by.who, now_ms)
        folding.strike(struck.id)
        _strike_later(connection, folding, struck, verdict.later, by)
        ids = (struck.id, *(one.entry.id for one in verdict.later))
        gone = [found for found in (_entry(connection, id) for id in ids) if found is not None]
        if any(moves(one) for one in gone):
            keep_contents(connection, folding, first)
        return gone


def _strike_verdict(folding: Ledger, struck: Entry, dependents: Collection[Entry]) -> BalanceVerdict:
    if not moves(struck) and not dependents:
        return BalanceVerdict()
    return judge_strike(folding, struck, dependents)


def _strike_later(
    connection: sqlite3.Connection, folding: Ledger, cause: Entry, later: Sequence[BalanceProblem], by: Strike
) -> None:
    for impossible in later:
        insert_strike(connection, impossible.entry.id, replace(by, together_with=cause.id))
        folding.strike(impossible.entry.id)


def _dependents(connection: sqlite3.Connection, struck: Entry) -> list[Entry]:
    """Entries that name a lot of which nothing but this entry tells."""
    if struck.kind != "lot":
        return []
    rows = connection.execute(unstruck("lot = ? AND entry.id <> ?"), (struck.lot, struck.id))
    others = [entry_of(row) for row in rows]
    return [] if any(other.kind == "lot" for other in others) else others


def _where(entry: Entry) -> str:
    places = places_of(entry.place, entry.body)
    return f"({', '.join(places)})" if places else entry.lot or ""


def entry(store: Store, entry_id: int) -> Entry | None:
    """One entry, struck or not; None if there is none of that number."""
    return _entry(store.connection, entry_id)


def struck_along(store: Store, entry_id: int) -> list[Entry]:
    """The entries that one took along when it was written or struck, in the order in which they were written."""
    return [
        entry_of(row)
        for row in store.connection.execute(
            f"{ENTRY_ROWS} WHERE strike.together_with = ? ORDER BY entry.id", (entry_id,)
        )
    ]


def _entry(connection: sqlite3.Connection, entry_id: int) -> Entry | None:
    row = connection.execute(f"{ENTRY_ROWS} WHERE entry.id = ?", (entry_id,)).fetchone()
    return None if row is None else entry_of(row)


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
        wanted, values = _conditions(equipment, vessel, kinds, from_ms, to_ms, struck=struck)
        there = None
        if lot is not None:
            stays = stored_lot_locations(connection, equipment, lot)
            there = LotLocations(stays)
            wanted.append(_LOT_OR_THERE)
            values += [lot, _spans(stays, equipment)]
        query = f"{ENTRY_ROWS} WHERE {' AND '.join(wanted) or '1'} ORDER BY entry.at_ms DESC, entry.id DESC"
        found: list[Entry] = []
        for row in connection.execute(query, values):
            each = entry_of(row)
            names = [equipment.name_now(place, each.written_ms) for place in places_of(each.place, each.body)]
            if vessel is not None and vessel not in names:
                continue  # another vessel had that name before
            if there is None or each.lot == lot or any(there.at(name, each.at_ms, each.id) for name in names):
                found.append(each)
                if len(found) == newest:
                    break
    return found[::-1]


# Entries that name a lot, or one of the vessels where it lay at that time; JSON: [[name, from_ms, to_ms], ...].
_LOT_OR_THERE: Final = (
    "(entry.lot = ? OR entry.id IN (SELECT spoken.id FROM json_each(?) AS span"
    " JOIN entry_place ON entry_place.place = json_extract(span.value, '$[0]')"
    " JOIN entry AS spoken ON spoken.id = entry_place.entry"
    " AND spoken.at_ms BETWEEN json_extract(span.value, '$[1]') AND json_extract(span.value, '$[2]')))"
)


def _spans(stays: Sequence[LotLocation], equipment: Equipment) -> str:
    return json.dumps(
        [
            (name, one[0].from_ms, END_OF_TIME_MS if one[-1].to_ms is None else one[-1].to_ms)
            for one in joined_locations(stays)
            for name in equipment.names_ever(one[0].vessel)
        ]
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
    wanted: list[str] = []
    values: list[Any] = []
    if vessel is not None:
        names = sorted(equipment.names_ever(vessel))
        marks = ",".join("?" * len(names))
        wanted.append(f"entry.id IN (SELECT entry FROM entry_place WHERE place IN ({marks}))")  # noqa: S608  question marks
        values += names
    if kinds:
        wanted.append(f"kind IN ({','.join('?' * len(kinds))})")
        values += kinds
    if from_ms is not None:
        wanted.append("entry.at_ms >= ?")
        values.append(from_ms)
    if to_ms is not None:
        wanted.append("entry.at_ms < ?")
        values.append(to_ms)
    if not struck:
        wanted.append("strike.id IS NULL")
    return wanted, values
