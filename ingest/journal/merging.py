"""Which entries that somebody brings along are in the journal already, and which are new. Pure.

An entry with a number is the one of that number. One without is the one that says the same: kind, time, who, place, lot
and body; of several that say the same each is taken once. So what was brought along before is found again.
"""

from __future__ import annotations

__all__ = ["Merging", "Mistake", "NewStrike", "Newcomer", "Told", "merge_journals"]

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from ingest.journal.body import Body, body_data, shown
from ingest.journal.entry import Entry, Strike
from ingest.journal.kinds.racking import RackingBody
from ingest.times import iso_utc


@dataclass(frozen=True, slots=True)
class Told:
    """An entry as a line tells it. id: its number there, if it has one; written_ms: None if the line does not say."""

    line: int
    id: int | None
    kind: str
    at_ms: int
    written_ms: int | None
    who: str
    place: str | None
    lot: str | None
    body: Body
    struck: Strike | None = None

    def entry(self, id: int, now_ms: int) -> Entry:
        """It as an entry of the journal, written now (UTC ms) where nothing else is told."""
        written_ms = now_ms if self.written_ms is None else self.written_ms
        return Entry(id, self.kind, self.at_ms, written_ms, self.who, self.place, self.lot, self.body, self.struck)


class Mistake(NamedTuple):
    """What is wrong with a line."""

    line: int
    why: str


class Newcomer(NamedTuple):
    """An entry that the journal does not have, with the number that it gets."""

    line: int
    entry: Entry


class NewStrike(NamedTuple):
    """A line that strikes an entry of the journal."""

    line: int
    entry: Entry
    strike: Strike


@dataclass(slots=True)
class Merging:
    """What comes of the lines: new entries, strikes of entries that are there, how many are there, and mistakes."""

    new: list[Newcomer] = field(default_factory=list)
    strikes: list[NewStrike] = field(default_factory=list)
    there: int = 0
    mistakes: list[Mistake] = field(default_factory=list)


Named = Callable[[Entry], Entry]


def merge_journals(
    told: Sequence[Told], known: Mapping[int, Entry], named: Named, now_ms: int, *, new_numbers: bool = False
) -> Merging:
    """Find for each line the entry that it is, or the number that it gets.

    known: the journal by number; named: an entry with places and probes called as they are now; now_ms: UTC ms.
    new_numbers: the lines are of another journal, so their numbers only say how they refer to each other.
    """
    joiner = _Merger(known, named, now_ms, new_numbers=new_numbers)
    single = joiner.each_once(told)
    joiner.take_numbered([one for one in single if one.id is not None and not new_numbers])
    joiner.take_unnumbered([one for one in single if one.id is None or new_numbers])
    joiner.refer()
    joiner.found.mistakes.sort()
    return joiner.found


class _Merger:
    def __init__(self, known: Mapping[int, Entry], named: Named, now_ms: int, *, new_numbers: bool) -> None:
        self._known = known
        self._named = named
        self._now_ms = now_ms
        self._new_numbers = new_numbers
        self._claimed: set[int] = set()
        self._in_file: set[int] = set()
        # Number in the file -> number in the journal, where they are not the same.
        self._numbers: dict[int, int] = {}
        self.found = Merging()

    def each_once(self, told: Iterable[Told]) -> list[Told]:
        """The lines without those that repeat a number with the same entry."""
        first: dict[int, Told] = {}
        single = []
        for one in told:
            before = None if one.id is None else first.setdefault(one.id, one)
            if before is None or before is one:
                single.append(one)
            elif replace(one, line=before.line) == before:
                self.found.there += 1
            else:
                self._wrong(one, f"no. {one.id} stands in line {before.line} already, and says something else there")
        self._in_file = set(first)
        return single

    def take_numbered(self, told: Iterable[Told]) -> None:
        for one in told:
            assert one.id is not None
            there = self._known.get(one.id)
            if there is None:
                self.found.new.append(Newcomer(one.line, one.entry(one.id, self._now_ms)))
                continue
            self._claimed.add(there.id)
            differing = _differences(self._now(one), self._named(there), one.written_ms is not None)
            if differing:
                self._wrong(one, f"no. {there.id} is there already and says something else: {differing}")
            else:
                self._meet(one, there, same=one.struck == there.struck)

    def take_unnumbered(self, told: Sequence[Told]) -> None:
        open_: dict[tuple[Any, ...], list[int]] = {}
        if told:
            for id in sorted(set(self._known) - self._claimed):
                open_.setdefault(_content(self._named(self._known[id])), []).append(id)
        # An entry that names another one by number can be looked for once that one was found.
        waiting, fresh = list(told), []
        while waiting:
            ready = [one for one in waiting if (begun := self._begun(one)) is None or begun in self._numbers]
            if not ready:
                break
            fresh += self._match(ready, open_)
            done = {one.line for one in (*ready, *fresh)}
            unfound = {one.id for one in fresh}
            waiting = [one for one in waiting if one.line not in done]
            # What names an entry that is new is new itself.
            while more := [one for one in waiting if self._begun(one) in unfound]:
                fresh += more
                unfound |= {one.id for one in more}
                waiting = [one for one in waiting if one not in more]
        for one in waiting:
            self._wrong(one, f"body begun = {self._begun(one)}: there is no such entry in this file")
        highest = max((*self._known, *(() if self._new_numbers else self._in_file)), default=0)
        fresh.sort(key=lambda one: (one.id is None, one.id or 0, one.line))
        for number, one in enumerate(fresh, start=highest + 1):
            if one.id is not None:
                self._numbers[one.id] = number
            self.found.new.append(Newcomer(one.line, one.entry(number, self._now_ms)))

    def _begun(self, told: Told) -> int | None:
        """The number by which a line names another line."""
        return told.body.begun if self._new_numbers and isinstance(told.body, RackingBody) else None

    def _match(self, told: Iterable[Told], open_: dict[tuple[Any, ...], list[int]]) -> list[Told]:
        """Give each line the entry that says the same, best one that is struck alike; gives back the lines without."""
        left = [(one, _content(self._renumbered(self._now(one)))) for one in told]
        for fits in (_struck_alike, _struck_there, _struck_here, _struck_both):
            rest = []
            for one, content in left:
                ids = open_.get(content, [])
                id = next((id for id in ids if fits(one.struck, self._known[id].struck)), None)
                if id is None:
                    rest.append((one, content))
                    continue
                ids.remove(id)
                if one.id is not None:
                    self._numbers[one.id] = id
                self._meet(one, self._known[id], same=_struck_alike(one.struck, self._known[id].struck))
            left = rest
        return [one for one, _ in left]

    def _meet(self, told: Told, there: Entry, *, same: bool) -> None:
        """A line is an entry that is there; a strike that only one of them knows stays, or comes in."""
        if same or told.struck is None:
            self.found.there += 1
        elif there.struck is None:
            self.found.strikes.append(NewStrike(told.line, there, told.struck))
        else:
            self._wrong(
                told,
                f"no. {there.id} is there already and was struck otherwise: {_strike_words(told.struck)} here,"
                f" {_strike_words(there.struck)} there",
            )

    def refer(self) -> None:
        """Let new entries and strikes name others by their numbers in the journal."""
        self.found.new = [
            Newcomer(one.line, self._renumbered(self._strike_checked(one.line, one.entry))) for one in self.found.new
        ]
        strikes = []
        for one in self.found.strikes:
            struck = self._renumbered(self._strike_checked(one.line, replace(one.entry, struck=one.strike))).struck
            assert struck is not None
            strikes.append(one._replace(strike=struck))
        self.found.strikes = strikes
        self._check_begun()

    def _check_begun(self) -> None:
        """What finishes a racking must name an entry that there is, or it would finish what gets that number later."""
        there = {*self._known, *(one.entry.id for one in self.found.new)}
        for line, entry in self.found.new:
            begun = entry.body.begun if isinstance(entry.body, RackingBody) else None
            if begun is not None and begun not in there:
                where = "there is no such entry in this file, or in the journal"
                self.found.mistakes.append(Mistake(line, f"body begun = {begun}: {where}"))

    def _strike_checked(self, line: int, entry: Entry) -> Entry:
        with_id = None if entry.struck is None else entry.struck.together_with
        if with_id is not None and with_id not in (
            self._numbers if self._new_numbers else self._in_file | {*self._known}
        ):
            where = "in this file" if self._new_numbers else "in this file, or in the journal"
            self.found.mistakes.append(
                Mistake(line, f"struck together_with = {with_id}: there is no such entry {where}")
            )
        return entry

    def _renumbered(self, entry: Entry) -> Entry:
        if not self._new_numbers:
            return entry
        body, struck = entry.body, entry.struck
        if isinstance(body, RackingBody) and body.begun in self._numbers:
            body = body.model_copy(update={"begun": self._numbers[body.begun]})
        if struck is not None and struck.together_with in self._numbers:
            struck = replace(struck, together_with=self._numbers[struck.together_with])
        return replace(entry, body=body, struck=struck)

    def _now(self, told: Told) -> Entry:
        return self._named(told.entry(0, self._now_ms))

    def _wrong(self, told: Told, why: str) -> None:
        self.found.mistakes.append(Mistake(told.line, why))


def _content(entry: Entry) -> tuple[Any, ...]:
    return (entry.kind, entry.at_ms, entry.who, entry.place, entry.lot, body_data(entry.body))


def _struck_alike(here: Strike | None, there: Strike | None) -> bool:
    # What took it along has another number here.
    return _by(here) == _by(there)


def _struck_there(here: Strike | None, _: Strike | None) -> bool:
    return here is None


def _struck_here(_: Strike | None, there: Strike | None) -> bool:
    return there is None


def _struck_both(_: Strike | None, __: Strike | None) -> bool:
    return True


def _by(strike: Strike | None) -> tuple[int, str, str] | None:
    return None if strike is None else (strike.at_ms, strike.who, strike.reason)


def _strike_words(strike: Strike) -> str:
    along = "" if strike.together_with is None else f", together with no. {strike.together_with}"
    return f"by {strike.who} at {iso_utc(strike.at_ms)}, {shown(strike.reason)}{along}"


def _differences(here: Entry, there: Entry, written: bool) -> str:
    """What two entries say differently, "" if nothing; written: when they were written counts too."""
    pairs: list[tuple[str, Any, Any]] = [
        ("kind", here.kind, there.kind),
        ("at", iso_utc(here.at_ms), iso_utc(there.at_ms)),
        ("who", here.who, there.who),
        ("place", here.place, there.place),
        ("lot", here.lot, there.lot),
    ]
    if written:
        pairs.insert(2, ("written", iso_utc(here.written_ms), iso_utc(there.written_ms)))
    if here.kind == there.kind:
        ours, theirs = json.loads(body_data(here.body)), json.loads(body_data(there.body))
        pairs += [(f"body {key}", ours.get(key), theirs.get(key)) for key in {**ours, **theirs}]
    return "; ".join(
        f"{key} is {shown(ours)} here, {shown(theirs)} there" for key, ours, theirs in pairs if ours != theirs
    )
