"""Bringing entries of the journal in: all of them in one transaction, or none and every mistake with its line."""

from __future__ import annotations

__all__ = ["ImportedEntries", "import_entries"]

import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

from ingest.cellar import Cellar
from ingest.errors import EntryRefused
from ingest.journal.entry import Draft, Entry, Strike
from ingest.journal.equipment import Equipment, PlaceKinds
from ingest.journal.kinds import moves
from ingest.journal.kinds.lot import Lots
from ingest.journal.merged_balance import Unfit, judge_merged
from ingest.journal.merging import Merging, Mistake, Newcomer, NewStrike, Told, merge_journals
from ingest.journal.requirements import LATEST_AHEAD_MS, draft_problems
from ingest.store.connection import Store
from ingest.store.journal.calibration_parts import apply_calibration, take_back_calibration
from ingest.store.journal.entry_rows import ENTRY_ROWS, entry_of, insert_entry, insert_strike
from ingest.store.journal.lot_location_rows import keep_contents
from ingest.store.journal.renames import Renames
from ingest.store.journal.stored_ledger import equipment_of, load_ledger


@dataclass(frozen=True, slots=True)
class ImportedEntries:
    """What came, or would come, of the lines.

    new: entries that the journal did not have, in order of their numbers; strikes: of entries that it had; there: how
    many lines it had already; mistakes: in order of lines. With any mistake nothing was written.
    """

    new: tuple[Newcomer, ...]
    strikes: tuple[NewStrike, ...]
    there: int
    mistakes: tuple[Mistake, ...]


_NEED_NO_PLACE: Final = frozenset({"racking", "titration", "measurement"})


class _RolledBack(Exception):
    """Ends a transaction that is not to be kept."""


def import_entries(
    store: Store,
    told: Sequence[Told],
    cellar: Cellar,
    now_ms: int,
    *,
    new_numbers: bool = False,
    rehearse: bool = False,
) -> ImportedEntries:
    """Bring entries in, with the checks that each would have had if it had been written here; or only find out what
    would come of it, with ``rehearse``.

    cellar: the cellar file as it is now; now_ms: UTC ms; new_numbers: the entries are of another journal, so their
    numbers count only among themselves. Raises StoreError.
    """
    joined = Merging()
    mistakes: list[Mistake] = []
    try:
        with store.write() as connection:
            equipment = equipment_of(connection, cellar, now_ms)
            known = {row[0]: entry_of(row) for row in connection.execute(ENTRY_ROWS)}
            joined = merge_journals(told, known, Renames(connection, equipment), now_ms, new_numbers=new_numbers)
            mistakes += joined.mistakes
            mistakes += _by_themselves(joined, known.values(), PlaceKinds(cellar, equipment), now_ms)
            mistakes += _together(connection, equipment, joined, known.values())
            mistakes += _written(connection, joined, {one.line for one in mistakes})
            if mistakes or rehearse:
                raise _RolledBack
            first = _first_moved(joined)
            if first is not None:
                keep_contents(connection, load_ledger(connection, equipment, before=first), first)
    except _RolledBack:
        pass
    new = sorted(joined.new, key=lambda one: one.entry.id)
    return ImportedEntries(tuple(new), tuple(joined.strikes), joined.there, tuple(sorted(set(mistakes))))


def _by_themselves(joined: Merging, known: Iterable[Entry], kinds: PlaceKinds, now_ms: int) -> list[Mistake]:
    """What is wrong with new entries and strikes whatever vessels hold."""
    hold = _lots(joined, known)
    ever = Lots(replace(one, struck=None) for one in (*known, *(new.entry for new in joined.new)))
    found = []
    for line, entry in joined.new:
        draft = Draft(entry.kind, entry.at_ms, entry.who, entry.body, entry.place, entry.lot)
        # A struck entry may speak of a lot of which only struck ones tell.
        lots = hold if entry.struck is None else ever
        problems = draft_problems(draft, kinds.at(entry.at_ms), lots, lots.names, now_ms)
        found += [Mistake(line, str(problem)) for problem in problems]
        if entry.written_ms > now_ms + LATEST_AHEAD_MS:
            found.append(Mistake(line, f"{entry.kind} written: is in the future"))
        elif entry.written_ms + LATEST_AHEAD_MS < entry.at_ms <= now_ms + LATEST_AHEAD_MS:
            found.append(Mistake(line, f"{entry.kind} written: is before it happened"))
    strikes = [(new.line, new.entry.struck) for new in joined.new] + [(one.line, one.strike) for one in joined.strikes]
    for line, strike in strikes:
        if strike is not None and strike.at_ms > now_ms + LATEST_AHEAD_MS:
            found.append(Mistake(line, "struck at: is in the future"))
    return found


def _lots(joined: Merging, known: Iterable[Entry]) -> Lots:
    """What entries tell of lots that hold with all of it."""
    gone = {one.entry.id for one in joined.strikes}
    return Lots((*(one for one in known if one.id not in gone), *(new.entry for new in joined.new)))


def _together(
    connection: sqlite3.Connection, equipment: Equipment, joined: Merging, known: Iterable[Entry]
) -> list[Mistake]:
    """What vessels hold, and what is said of lots, may speak against new entries, or against old ones beside them."""
    first = _first_moved(joined)
    unfit = _without_lot(joined, known)
    if first is not None:
        # One that has no place, or one that nobody knows, is told of already, and can move nothing.
        new = [one.entry for one in joined.new if one.entry.struck is None and _placed(one.entry)]
        folding = load_ledger(connection, equipment, before=first)
        unfit += judge_merged(folding, new, {one.entry.id for one in joined.strikes})
    causes = {one.entry.id: one for one in _moves(joined)}
    found = []
    for entry, because, why in unfit:
        if because == (entry.id,):
            found.append(Mistake(causes[entry.id].line, f"{entry}: {why}"))
            continue
        last = max((causes[id] for id in because), key=lambda one: (one.entry.at_ms, one.entry.id))
        found.append(Mistake(last.line, f"{entry}, which is there already, could then not be: {why}"))
    return found


def _without_lot(joined: Merging, known: Iterable[Entry]) -> list[Unfit]:
    """Entries that hold and whose lot nothing would tell of once the file's strikes are made."""
    struck_lots = {one.entry.lot: one.entry.id for one in joined.strikes if one.entry.kind == "lot"}
    if not struck_lots:
        return []
    gone = {one.entry.id for one in joined.strikes}
    hold = _lots(joined, known)
    return [
        Unfit(entry, (struck_lots[entry.lot],), f"no entry would tell what {entry.lot} is")
        for entry in known
        if entry.struck is None and entry.id not in gone and entry.lot in struck_lots and entry.lot not in hold
    ]


def _placed(entry: Entry) -> bool:
    return entry.place is not None or entry.kind in _NEED_NO_PLACE


def _moves(joined: Merging) -> list[Newcomer | NewStrike]:
    return [*joined.new, *joined.strikes]


def _first_moved(joined: Merging) -> tuple[int, int] | None:
    """The place in the order (at_ms, id) from which on vessels may hold something else; None if they cannot."""
    moved = [one.entry for one in _moves(joined) if moves(one.entry)]
    return min(((entry.at_ms, entry.id) for entry in moved), default=None)


def _written(connection: sqlite3.Connection, joined: Merging, bad: set[int]) -> list[Mistake]:
    """Write it all; where some lines are bad, only the calibrations of others, to learn what speaks against these.

    Calibrations are worked out from what their probe showed, so they and their strikes follow each other as they did.
    """
    new = sorted((one for one in joined.new if not bad or _tried(one, bad)), key=lambda one: one.entry.id)
    strikes = [one for one in joined.strikes if not bad or _tried(one, bad)]
    events: list[_Event] = []
    for line, entry in new:
        insert_entry(connection, entry)
        events.append(_Event(entry.written_ms, line, entry))
        if entry.struck is not None:
            events.append(_Event(max(entry.struck.at_ms, entry.written_ms), line, entry, entry.struck))
    events += [_Event(one.strike.at_ms, *one) for one in strikes]
    if bad:
        # What took an entry along may be on a bad line, and is not looked for.
        events = [event.alone() for event in events]
    found = []
    refused: set[int] = set()
    for _, line, entry, strike in sorted(events, key=_Event.order):
        try:
            if strike is not None:
                insert_strike(connection, entry.id, strike)
            if entry.kind != "calibration" or entry.id in refused:
                continue
            if strike is None:
                apply_calibration(connection, entry)
            else:
                take_back_calibration(connection, entry, strike.who, strike.at_ms)
        except EntryRefused as error:
            refused.add(entry.id)
            found += [Mistake(line, str(problem)) for problem in error.problems]
    return found


class _Event(NamedTuple):
    """An entry was written, or struck; at_ms: when (UTC ms)."""

    at_ms: int
    line: int
    entry: Entry
    strike: Strike | None = None

    def order(self) -> tuple[int, bool, bool, int]:
        """Of one moment, entries come first, then strikes, then the strikes that another one took along."""
        along = self.strike is not None and self.strike.together_with is not None
        return (self.at_ms, self.strike is not None, along, self.entry.id)

    def alone(self) -> _Event:
        """It without what took it along."""
        return self if self.strike is None else self._replace(strike=replace(self.strike, together_with=None))


def _tried(one: Newcomer | NewStrike, bad: set[int]) -> bool:
    return one.entry.kind == "calibration" and one.line not in bad
