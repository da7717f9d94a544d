"""Which entries of a file are in the journal already, and which are new. Pure.

An entry with a number is the one of that number. One without is the one that says the same: kind, time, who, place, lot
and body; of several that say the same each is taken once. So what was brought in before is found again.
"""

from __future__ import annotations

__all__ = ["EntryLine", "JournalMerge", "Mistake", "NewEntry", "NewStrike", "merge_journals"]

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, NamedTuple

from ingest.journal.body import BESIDE_FACTS, body_data, shown
from ingest.journal.entry import Entry, Strike
from ingest.journal.kinds import KINDS
from ingest.journal.kinds.racking import RackingBody
from ingest.times import iso_utc

# How well two strikes can fit each other.
_RANKS: Final = 4


class EntryLine(NamedTuple):
    """An entry as a line of a file gives it.

    entry: its number is 0 if the line gives none; dated: whether the line says when it was written.
    """

    line: int
    entry: Entry
    dated: bool = True


class Mistake(NamedTuple):
    """What is wrong with a line."""

    line: int
    why: str


class NewEntry(NamedTuple):
    """An entry that the journal does not have, with the number that it gets."""

    line: int
    entry: Entry


class NewStrike(NamedTuple):
    """A line that strikes an entry of the journal."""

    line: int
    entry: Entry
    strike: Strike


@dataclass(slots=True)
class JournalMerge:
    """What comes of the lines.

    new: entries that the journal does not have, in order of their numbers; strikes: of entries that it has; there: how
    many lines it has already; mistakes: in order of lines; warnings: what can hardly be, likewise.
    """

    new: list[NewEntry] = field(default_factory=list)
    strikes: list[NewStrike] = field(default_factory=list)
    there: int = 0
    mistakes: list[Mistake] = field(default_factory=list)
    warnings: list[Mistake] = field(default_factory=list)

    def changes(self) -> list[NewEntry | NewStrike]:
        """List all that comes into the journal."""
        return [*self.new, *self.strikes]


def merge_journals(
    lines: Iterable[EntryLine],
    known: Mapping[int, Entry],
    named: Callable[[Entry], Entry],
    *,
    new_numbers: bool = False,
) -> JournalMerge:
    """Find for each line the entry that it is, or the number that it gets.

    known: the journal by number; named: an entry with places and probes called as they are now. new_numbers: the lines
    are of another journal, so their numbers only say how they refer to each other.
    """
    merger = _Merger(known, named, new_numbers=new_numbers)
    merger.take(lines)
    merger.merge.new.sort(key=lambda new: new.entry.id)
    merger.merge.mistakes.sort()
    return merger.merge


class _Merger:
    def __init__(self, known: Mapping[int, Entry], named: Callable[[Entry], Entry], *, new_numbers: bool) -> None:
        self.merge = JournalMerge()
        self._known = known
        self._named = named
        self._new_numbers = new_numbers
        # The lines by their numbers in the file, and the numbers that those get in the journal.
        self._in_file: dict[int, EntryLine] = {}
        self._numbers: dict[int, int] = {}

    def take(self, lines: Iterable[EntryLine]) -> None:
        by_number: list[EntryLine] = []
        by_content: list[EntryLine] = []
        for line in self._each_once(lines):
            (by_number if line.entry.id and not self._new_numbers else by_content).append(line)
        same = {line.line: self._known[line.entry.id] for line in by_number if line.entry.id in self._known}
        claimed = {entry.id for entry in same.values()}
        same |= self._same_content(by_content, [id for id in sorted(self._known) if id not in claimed])
        # New entries without a number get the next ones, in the order of their numbers in the file, then of lines.
        fresh = [line for line in by_content if line.line not in same]
        fresh.sort(key=lambda line: (not line.entry.id, line.entry.id, line.line))
        first = max((*self._known, *(line.entry.id for line in by_number)), default=0) + 1
        given = {line.line: number for number, line in enumerate(fresh, start=first)}
        self._numbers = {
            id: same[line.line].id if line.line in same else given.get(line.line, id)
            for id, line in self._in_file.items()
        }
        for line in (*by_number, *by_content):
            if line.line in same:
                self._meet(line, same[line.line])
            else:
                entry = replace(line.entry, id=given.get(line.line, line.entry.id))
                self.merge.new.append(NewEntry(line.line, self._referring(line.line, entry)))

    def _each_once(self, lines: Iterable[EntryLine]) -> Iterator[EntryLine]:
        """Leave out the lines that repeat a number with the same entry."""
        for line in lines:
            before = self._in_file.setdefault(line.entry.id, line) if line.entry.id else line
            if before is line:
                yield line
            elif before[1:] == line[1:]:
                self.merge.there += 1
            else:
                self._wrong(line, f"no. {line.entry.id} is in line {before.line} too, and says something else there")

    def _same_content(self, lines: list[EntryLine], ids: Iterable[int]) -> dict[int, Entry]:
        """Find the entries that say the same, by lines; of several best the one that is struck alike."""
        if not lines:
            return {}
        in_file = {id: line.entry for id, line in self._in_file.items()}
        alike: dict[tuple[Any, ...], list[int]] = {}
        for id in ids:
            alike.setdefault(self._content(self._known[id], self._known), []).append(id)
        contents = {line.line: self._content(line.entry, in_file) for line in lines}
        same: dict[int, Entry] = {}
        for rank in range(_RANKS):
            for line in lines:
                left = [] if line.line in same else alike.get(contents[line.line], [])
                twin = next((id for id in left if self._is_twin(line.entry, self._known[id], rank)), None)
                if twin is not None:
                    left.remove(twin)
                    same[line.line] = self._known[twin]
        return same

    def _is_twin(self, line: Entry, there: Entry, rank: int) -> bool:
        return _rank(line.struck, there.struck) == rank and _agree(line, there)

    def _content(self, entry: Entry, others: Mapping[int, Entry]) -> tuple[Any, ...]:
        """Gather what is compared. With numbers of another journal, what a racking finishes counts by its content."""
        content: list[Any] = []
        seen: set[int] = set()
        following: Entry | None = entry
        while following is not None:
            begun = _begun(following) if self._new_numbers else None
            named = self._named(following)
            content.append(_said(named if begun is None else _finishing(named, None)))
            if begun is None or begun in seen:
                break
            seen.add(begun)
            following = others.get(begun)
            content.append(following is not None)
        return tuple(content)

    def _meet(self, line: EntryLine, there: Entry) -> None:
        """Take a line for an entry that is there; a strike that only one of them knows stays, or comes in."""
        struck = line.entry.struck
        alike = _rank(struck, there.struck) == 0
        if line.entry.id and not self._new_numbers:
            alike = struck == there.struck
            differences = _differences(self._named(line.entry), self._named(there), dated=line.dated)
            if differences:
                self._wrong(line, f"no. {there.id} is there already and says something else: {differences}")
                return
        if struck is None or alike:
            self.merge.there += 1
        elif there.struck is None:
            struck = self._referring(line.line, replace(there, struck=struck)).struck or struck
            self.merge.strikes.append(NewStrike(line.line, there, struck))
        else:
            ours, theirs = _strike_words(struck), _strike_words(there.struck)
            self._wrong(line, f"no. {there.id} is there already and was struck otherwise: {ours} here, {theirs} there")

    def _referring(self, line: int, entry: Entry) -> Entry:
        """Let a new entry, or an old one's new strike, name others by their numbers in the journal.

        What finishes a racking must name an entry that there is, or it would finish what gets that number later.
        """
        begun, struck = _begun(entry), entry.struck
        if begun is not None and entry.id not in self._known:
            entry = _finishing(entry, self._number(line, "body begun", begun))
        if struck is not None and struck.together_with is not None:
            number = self._number(line, "struck together_with", struck.together_with)
            entry = replace(entry, struck=replace(struck, together_with=number))
        if entry.in_place_of is not None and entry.id not in self._known:
            entry = replace(entry, in_place_of=self._number(line, "in_place_of", entry.in_place_of))
        return entry

    def _number(self, line: int, key: str, number: int) -> int | None:
        if number in self._numbers:
            return self._numbers[number]
        if number in self._known and not self._new_numbers:
            return number
        where = "in this file" if self._new_numbers else "in this file, or in the journal"
        self.merge.mistakes.append(Mistake(line, f"{key} = {number}: there is no such entry {where}"))
        return None

    def _wrong(self, line: EntryLine, why: str) -> None:
        self.merge.mistakes.append(Mistake(line.line, why))


def _begun(entry: Entry) -> int | None:
    return entry.body.begun if isinstance(entry.body, RackingBody) else None


def _finishing(entry: Entry, begun: int | None) -> Entry:
    return replace(entry, body=entry.body.model_copy(update={"begun": begun}))


def _said(entry: Entry) -> tuple[Any, ...]:
    said = entry.body.model_copy(update={**dict.fromkeys(_not_compared(entry)), **BESIDE_FACTS})
    return (entry.kind, entry.at_ms, entry.who, entry.place, entry.lot, body_data(said))


def _not_compared(entry: Entry) -> set[str]:
    """The keys of a body that are worked out; a line may leave them to be so."""
    return set(KINDS[entry.kind].worked_out(entry.body)) - {"begun"}


def _agree(line: Entry, there: Entry) -> bool:
    """Whether what is worked out is the same, as far as the line says it."""
    keys = _not_compared(line)
    return all(getattr(line.body, key) in (None, getattr(there.body, key)) for key in keys)


def _rank(line: Strike | None, there: Strike | None) -> int:
    """Rank how well the strikes of two like entries fit; 0 is best. What took one along has another number."""
    if line is None or there is None:
        return 0 if line is there else 1 if line is None else 2
    alike = (line.at_ms, line.who, line.reason) == (there.at_ms, there.who, there.reason)
    return 0 if alike else _RANKS - 1


def _strike_words(strike: Strike) -> str:
    along = "" if strike.together_with is None else f", together with no. {strike.together_with}"
    return f"by {strike.who} at {iso_utc(strike.at_ms)}, {shown(strike.reason)}{along}"


def _differences(here: Entry, there: Entry, *, dated: bool) -> str:
    """Say what two entries say differently, "" if nothing; dated: when they were written counts too."""
    ours, theirs = (_facts(entry, dated=dated, body=here.kind == there.kind) for entry in (here, there))
    for key in (*_not_compared(here), *BESIDE_FACTS):
        if f"body {key}" not in ours:
            theirs.pop(f"body {key}", None)
    return "; ".join(
        f"{key} is {shown(ours.get(key))} here, {shown(theirs.get(key))} there"
        for key in {**ours, **theirs}
        if ours.get(key) != theirs.get(key)
    )


def _facts(entry: Entry, *, dated: bool, body: bool) -> dict[str, Any]:
    facts: dict[str, Any] = {"kind": entry.kind, "at": iso_utc(entry.at_ms)}
    if dated:
        facts["written"] = iso_utc(entry.written_ms)
    facts |= {"who": entry.who, "place": entry.place, "lot": entry.lot}
    said = json.loads(body_data(entry.body)) if body else {}
    return facts | {f"body {key}": value for key, value in said.items()}
