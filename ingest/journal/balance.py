"""What cannot be written, and what cannot be struck, because wine would come from nowhere or go nowhere. Pure."""

from __future__ import annotations

__all__ = [
    "BalanceProblem",
    "BalanceVerdict",
    "judge_amendment",
    "judge_entry",
    "judge_strike",
    "judge_together",
    "lot_unknown",
    "refuse",
]

import heapq
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import NamedTuple

from ingest.errors import EntryRefused, Problem
from ingest.journal.entry import Entry
from ingest.journal.kinds import ledger_step, moves
from ingest.journal.kinds.kind import NOTHING_CHANGES, LedgerStep
from ingest.journal.ledger import Ledger
from ingest.journal.vessel_state import UNKNOWN, VesselState


class BalanceProblem(NamedTuple):
    """An entry that could not be, and why. cause: the new or struck entry from which that follows, or itself."""

    entry: Entry
    whys: tuple[str, ...]
    cause: Entry

    @property
    def why(self) -> str:
        """Everything that speaks against it."""
        return "; ".join(self.whys)


class BalanceVerdict(NamedTuple):
    """objections: what speaks against the entry itself; later: which later entries could no longer be if it were done.

    Nothing in either: it can be done. Entries in later can be struck together with it; then all the others can stay.
    """

    objections: tuple[str, ...] = ()
    later: tuple[BalanceProblem, ...] = ()


def judge_entry(ledger: Ledger, entry: Entry) -> BalanceVerdict:
    """Judge whether an entry can be written; ledger: the entries so far, without it."""
    later = []
    for problem in _impossible(ledger, [entry], (), cascade=True):
        if problem.entry.id == entry.id:
            return BalanceVerdict(problem.whys)
        later.append(problem)
    return BalanceVerdict((), tuple(later))


def judge_amendment(ledger: Ledger, old: Entry, new: Entry, dependents: Collection[Entry] = ()) -> BalanceVerdict:
    """Judge whether an entry can be replaced by another one; ledger: the entries so far, with the old one.

    dependents: as ``judge_strike`` takes them.
    """
    later = [lot_unknown(each, old) for each in dependents]
    for problem in _impossible(ledger, [new], (old, *dependents), cascade=True):
        if problem.entry.id == new.id:
            return BalanceVerdict(problem.whys)
        later.append(problem)
    return BalanceVerdict((), tuple(sorted(later, key=lambda problem: _key(problem.entry))))


def judge_strike(ledger: Ledger, entry: Entry, dependents: Collection[Entry] = ()) -> BalanceVerdict:
    """Judge whether an entry can be struck; ledger: the entries so far, with it.

    dependents: entries that speak of what only this one introduces, such as its lot; they could no longer be in any
    case.
    """
    without_lot = [lot_unknown(each, entry) for each in dependents]
    moved = _impossible(ledger, (), (entry, *dependents), cascade=True)
    return BalanceVerdict((), tuple(sorted([*without_lot, *moved], key=lambda problem: _key(problem.entry))))


def judge_together(ledger: Ledger, new: Iterable[Entry], struck: Iterable[Entry]) -> list[BalanceProblem]:
    """Find the entries that could not be if all of this were done at once.

    ledger: the journal so far, from before the first of these on. An entry that could not be counts all the same for
    those after it, so that one wrong number is reported once.
    """
    return list(_impossible(ledger, new, struck, cascade=False))


def lot_unknown(entry: Entry, cause: Entry) -> BalanceProblem:
    """Say that an entry names a lot that nothing would describe once the cause is struck."""
    return BalanceProblem(entry, (f"no entry would say what {entry.lot} is",), cause)


def _impossible(
    ledger: Ledger, new: Iterable[Entry], struck: Iterable[Entry], *, cascade: bool
) -> Iterator[BalanceProblem]:
    """Find new entries that cannot be, and old ones that could be until now and could no longer, in their order.

    cascade: an old entry that could no longer be is left out of what follows, as if it were struck as well.
    """
    added = sorted((ledger.named(entry) for entry in new if moves(entry)), key=_key)
    removed = [entry for entry in struck if moves(entry)]
    if not added and not removed:
        return
    added_ids, removed_ids = {entry.id for entry in added}, {entry.id for entry in removed}
    first = min(_key(entry) for entry in (*added, *removed))
    before = ledger.before(first)
    after = dict(before)
    causes: dict[str, Entry] = {}
    for entry in heapq.merge(ledger.after(first), added, key=_key):
        does_now = NOTHING_CHANGES if entry.id in added_ids else _step(ledger, entry, before)
        does_then = NOTHING_CHANGES if entry.id in removed_ids else _step(ledger, entry, after)
        cause = entry
        whys: tuple[str, ...] = ()
        if entry.id not in removed_ids:
            if entry.id not in added_ids:
                named = [causes[place] for place in entry.places if place in causes]
                cause = max(named, key=_key, default=entry)
            if not does_now.objections:
                whys = tuple(objection.why for objection in does_then.objections)
            whys = whys or _groundless(does_now.drawn, before, after)
            if whys:
                yield BalanceProblem(entry, whys, cause)
        if not (whys and cascade):
            after.update(does_then.changes)
        before.update(does_now.changes)
        for vessel in {*does_now.changes, *does_then.changes}:
            if before.get(vessel, UNKNOWN) == after.get(vessel, UNKNOWN):
                causes.pop(vessel, None)
            else:
                causes[vessel] = max(cause, causes.get(vessel, cause), key=_key)


def _step(ledger: Ledger, entry: Entry, held: Mapping[str, VesselState]) -> LedgerStep:
    return ledger_step(entry, lambda vessel: held.get(vessel, UNKNOWN), ledger.equipment)


def _groundless(
    drawn: Iterable[str], before: Mapping[str, VesselState], after: Mapping[str, VesselState]
) -> tuple[str, ...]:
    """Say why wine that was drawn would have come from nowhere: the journal no longer says what its vessel held."""
    for vessel in drawn:
        if before.get(vessel, UNKNOWN).known and not after.get(vessel, UNKNOWN).known:
            return (f"the journal would no longer say what {vessel} held",)
    return ()


def refuse(what: str, verdict: BalanceVerdict) -> EntryRefused:
    """Make the refusal of what a verdict speaks against; what: the entry or the strike, as its problems name it."""
    problems = [Problem(what, "", "", why) for why in verdict.objections]
    problems += [
        Problem(what, "", "", f"{impossible.entry} could then not be: {impossible.why}") for impossible in verdict.later
    ]
    return EntryRefused(problems, [impossible.entry.id for impossible in verdict.later])


def _key(entry: Entry) -> tuple[int, int]:
    return entry.key
