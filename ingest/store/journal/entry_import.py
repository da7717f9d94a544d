"""Entries of a file come into the journal: all of them in one transaction, or none, and every mistake with its line."""

from __future__ import annotations

__all__ = ["import_entries"]

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace

from ingest.cellar import Cellar
from ingest.errors import EntryRefused
from ingest.journal.balance import BalanceProblem, judge_together, lot_unknown
from ingest.journal.entry import Draft, Entry, kind_words
from ingest.journal.equipment import PlaceKinds
from ingest.journal.kinds import moves
from ingest.journal.lots import Lots
from ingest.journal.merging import EntryLine, JournalMerge, Mistake, NewEntry, NewStrike, merge_journals
from ingest.journal.requirements import LATEST_AHEAD_MS, draft_problems, long_ago
from ingest.journal.reviewing import reviewed
from ingest.store.connection import Store
from ingest.store.journal.calibration_parts import apply_calibration
from ingest.store.journal.entries import cross_out
from ingest.store.journal.entry_rows import ENTRY_ROWS, entry_of, insert_entry
from ingest.store.journal.lot_location_rows import keep_contents
from ingest.store.journal.renames import Renames
from ingest.store.journal.stored_ledger import equipment_of, load_ledger


class _RolledBack(Exception):
    """Ends a transaction that is not to be kept."""


def import_entries(
    store: Store,
    lines: Sequence[EntryLine],
    cellar: Cellar,
    now_ms: int,
    *,
    new_numbers: bool = False,
    rehearse: bool = False,
    despite_warnings: bool = False,
) -> JournalMerge:
    """Add the entries and strikes that the journal does not have yet, worked out and with the checks that each would
    have had if it had been written here. With any mistake, with a warning without despite_warnings, or with
    ``rehearse``, nothing is kept. A warning that a line carries was accepted when it was written.

    cellar: the cellar file as it is now; now_ms: UTC ms; new_numbers: the entries are of another journal, so their
    numbers count only among themselves. Raises StoreError.
    """
    with suppress(_RolledBack), store.write() as connection:
        merging = _Import(connection, cellar, lines, now_ms, new_numbers=new_numbers)
        merging.check_each(PlaceKinds(cellar, merging.equipment), now_ms)
        merging.work_out(cellar, now_ms)
        merging.check_together()
        merging.write()
        merging.merge.mistakes = sorted(merging.mistakes)
        merging.merge.warnings.sort()
        if merging.mistakes or rehearse or (merging.merge.warnings and not despite_warnings):
            raise _RolledBack
        first = merging.first_moved()
        if first is not None:
            keep_contents(connection, load_ledger(connection, merging.equipment, before=first), first)
    return merging.merge


class _Import:
    """An import inside its transaction. mistakes: found so far, each once."""

    def __init__(
        self,
        connection: sqlite3.Connection,
        cellar: Cellar,
        lines: Sequence[EntryLine],
        now_ms: int,
        *,
        new_numbers: bool,
    ) -> None:
        self._connection = connection
        self.equipment = equipment_of(connection, cellar, now_ms)
        self._known = known = {row[0]: entry_of(row) for row in connection.execute(ENTRY_ROWS)}
        self.merge = merge_journals(lines, known, Renames(connection, self.equipment), new_numbers=new_numbers)
        self.mistakes = set(self.merge.mistakes)
        struck = {strike.entry.id for strike in self.merge.strikes}
        self._stay = [entry for entry in known.values() if entry.id not in struck]
        new = [new.entry for new in self.merge.new]
        self._lots = Lots((*self._stay, *new))
        self._lots_ever = Lots(replace(entry, struck=None) for entry in (*known.values(), *new))
        # Lines whose entry can move nothing: it names no place, one that nobody knows, or an entry that is not there.
        self._unmoving = {mistake.line for mistake in self.mistakes}

    def check_each(self, kinds: PlaceKinds, now_ms: int) -> None:
        """Find what is wrong with new entries and strikes whatever vessels hold."""
        latest_ms = now_ms + LATEST_AHEAD_MS
        for line, entry in self.merge.new:
            draft = Draft(entry.kind, entry.at_ms, entry.who, entry.body, entry.place, entry.lot)
            # A struck entry may name a lot that only struck entries describe.
            lots = self._lots if entry.struck is None else self._lots_ever
            problems = draft_problems(draft, kinds, lots, now_ms)
            self._note(line, map(str, problems))
            if any(problem.key == "place" for problem in problems):
                self._unmoving.add(line)
            if entry.written_ms > latest_ms:
                self._note(line, [f"{entry.kind} written: is in the future"])
            elif entry.written_ms + LATEST_AHEAD_MS < entry.at_ms <= latest_ms:
                self._note(line, [f"{entry.kind} written: is before it happened"])
        self._check_places_taken()
        for line, entry, strike in self._strikes():
            # A line of an entry that is there already may be of a file that does not know when that was written here.
            written_ms = entry.at_ms if entry.id in self._known else entry.written_ms
            if strike.at_ms > latest_ms:
                self._note(line, ["struck at: is in the future"])
            elif strike.at_ms + LATEST_AHEAD_MS < max(entry.at_ms, written_ms):
                self._note(line, [f"struck at: is before the {kind_words(entry.kind)} that it strikes"])

    def _check_places_taken(self) -> None:
        """Find entries in the place of one that still holds: of one time only one of them can count there."""
        others = [*self._stay, *(new.entry for new in self.merge.new)]
        holding: dict[tuple[int, int], list[Entry]] = {}
        for entry in others:
            if entry.struck is None:
                holding.setdefault(entry.key, []).append(entry)
        for line, entry in self.merge.new:
            if entry.struck is not None or entry.in_place_of is None:
                continue
            there = next((each for each in holding[entry.key] if each.id != entry.id), None)
            if there is not None:
                self._note(line, [f"in_place_of = {entry.in_place_of}: {there} still holds there; strike it"])

    def work_out(self, cellar: Cellar, now_ms: int) -> None:
        """Work out what the new entries do not say, and find what speaks against them."""
        wrong = {mistake.line for mistake in self.mistakes}
        lines = {entry.id: line for line, entry in self.merge.new if line not in wrong and entry.struck is None}
        new = [entry for _, entry in self.merge.new if entry.id in lines]
        if not new:
            return
        others = [entry for _, entry in self.merge.new if entry.id not in lines]
        gone = {strike.entry.id for strike in self.merge.strikes}
        ledger = load_ledger(self._connection, self.equipment, before=min(entry.key for entry in new))
        done = {}
        for entry, warnings, whys in reviewed(new, (*self._known.values(), *others), gone, ledger, cellar):
            accepted = entry.body.warnings
            fresh = [text for text in (*warnings, *long_ago(entry.at_ms, now_ms)) if text not in accepted]
            done[entry.id] = replace(entry, body=entry.body.model_copy(update={"warnings": (*accepted, *fresh)}))
            self._note(lines[entry.id], whys)
            self.merge.warnings += [Mistake(lines[entry.id], warning) for warning in fresh]
        self.merge.new = [NewEntry(line, done.get(entry.id, entry)) for line, entry in self.merge.new]

    def check_together(self) -> None:
        """Find what cannot be once all of it is done: by what vessels hold, and by what is known of lots."""
        problems = [*self._without_lot()]
        first = self.first_moved()
        if first is not None:
            ledger = load_ledger(self._connection, self.equipment, before=first)
            new = [entry for line, entry in self.merge.new if entry.struck is None and line not in self._unmoving]
            problems += judge_together(ledger, new, [strike.entry for strike in self.merge.strikes])
        lines = {change.entry.id: change.line for change in self.merge.changes()}
        for problem in problems:
            old = "" if problem.entry.id == problem.cause.id else ", which is there already, could then not be"
            self._note(lines[problem.cause.id], [f"{problem.entry}{old}: {problem.why}"])

    def _without_lot(self) -> Iterator[BalanceProblem]:
        """Find entries that stay, and whose lot nothing would describe."""
        struck_lots = {strike.entry.lot: strike.entry for strike in self.merge.strikes if strike.entry.kind == "lot"}
        for entry in self._stay:
            if entry.struck is None and entry.lot in struck_lots and entry.lot not in self._lots:
                yield lot_unknown(entry, struck_lots[entry.lot])

    def first_moved(self) -> tuple[int, int] | None:
        """Find the place in the order (at_ms, id) from which on vessels may hold something else, if they may."""
        changed = [change.entry for change in self.merge.changes()]
        return min((entry.key for entry in changed if moves(entry)), default=None)

    def _strikes(self) -> list[NewStrike]:
        """List every strike that comes in, also those that come with their entries."""
        struck = [(line, entry, entry.struck) for line, entry in self.merge.new]
        return [NewStrike(line, entry, by) for line, entry, by in struck if by is not None] + self.merge.strikes

    def write(self) -> None:
        """Add entries and strikes; calibrations, which follow from each other, in the order in which they were written
        and struck. Of one moment, entries come first, then strikes, then the strikes that another one took along.
        """
        for new in self.merge.new:
            insert_entry(self._connection, new.entry)
        refused: set[int] = set()
        acts: list[NewEntry | NewStrike] = [*self.merge.new, *self._strikes()]
        for act in sorted(acts, key=_when):
            try:
                if act.entry.id in refused:
                    continue
                if isinstance(act, NewStrike):
                    cross_out(self._connection, act.entry, act.strike)
                elif act.entry.kind == "calibration":
                    apply_calibration(self._connection, act.entry)
            except EntryRefused as error:
                refused.add(act.entry.id)
                self._note(act.line, map(str, error.problems))

    def _note(self, line: int, whys: Iterable[str]) -> None:
        self.mistakes |= {Mistake(line, why) for why in whys}


def _when(act: NewEntry | NewStrike) -> tuple[int, bool, bool, int]:
    """Order entries and strikes of a file as they are written."""
    if isinstance(act, NewStrike):
        at_ms = max(act.strike.at_ms, act.entry.written_ms)
        return (at_ms, True, act.strike.together_with is not None, act.entry.id)
    return (act.entry.written_ms, False, False, act.entry.id)
