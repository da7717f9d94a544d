"""What cannot be written, and what cannot be struck, because wine would come from nowhere or go nowhere. Pure."""

from __future__ import annotations

__all__ = ["BalanceProblem", "BalanceVerdict", "groundless", "judge_entry", "judge_strike", "refuse"]

from collections.abc import Collection, Iterable, Mapping
from typing import NamedTuple

from ingest.errors import EntryRefused, Problem
from ingest.journal.entry import Entry
from ingest.journal.kinds import ledger_step, moves
from ingest.journal.ledger import Ledger
from ingest.journal.vessel_state import UNKNOWN, Objection, VesselState


class BalanceProblem(NamedTuple):
    """A later entry that could no longer be, and why."""

    entry: Entry
    why: str


class BalanceVerdict(NamedTuple):
    """objections: what speaks against the entry itself; later: which later entries could no longer be if it were done.

    Nothing in either: it can be done. Entries in later can be struck together with it; then all the others can stay.
    """

    objections: tuple[Objection, ...] = ()
    later: tuple[BalanceProblem, ...] = ()


def judge_entry(ledger: Ledger, entry: Entry) -> BalanceVerdict:
    """Judge whether an entry can be written; ledger: the entries so far, without it."""
    if not moves(entry):
        return BalanceVerdict()
    entry = ledger.named(entry)
    key = (entry.at_ms, entry.id)
    before = ledger.before(key)
    step = ledger_step(entry, lambda vessel: before.get(vessel, UNKNOWN), ledger.equipment)
    if step.objections:
        return BalanceVerdict(tuple(step.objections))
    with_it = {**before, **step.changes}
    return BalanceVerdict((), tuple(_walk(ledger, before, with_it, ledger.after(key), ())))


def judge_strike(ledger: Ledger, entry: Entry, dependents: Collection[Entry] = ()) -> BalanceVerdict:
    """Judge whether an entry can be struck; ledger: the entries so far, with it.

    dependents: entries that speak of what only this one introduces, such as its lot; they could no longer be in any
    case.
    """
    without_lot = [BalanceProblem(each, f"no entry would tell what {each.lot} is") for each in dependents]
    gone = {entry.id, *(each.id for each in dependents)}
    first = min((each.at_ms, each.id) for each in (entry, *dependents))
    before = ledger.before(first)
    moved = list(_walk(ledger, before, dict(before), ledger.after(first), gone))
    later = sorted(without_lot + moved, key=lambda problem: (problem.entry.at_ms, problem.entry.id))
    return BalanceVerdict((), tuple(later))


def _walk(
    ledger: Ledger,
    now: dict[str, VesselState],
    then: dict[str, VesselState],
    entries: Iterable[Entry],
    gone: Collection[int],
) -> Iterable[BalanceProblem]:
    """The entries that could be until now and could not be then; now, then: what vessels hold before the first one.

    An entry that could not be is left out of what follows, as if it were struck as well.
    """
    for entry in entries:
        step_now = ledger_step(entry, lambda vessel: now.get(vessel, UNKNOWN), ledger.equipment)
        if entry.id not in gone:
            step_then = ledger_step(entry, lambda vessel: then.get(vessel, UNKNOWN), ledger.equipment)
            why = "" if step_now.objections else "; ".join(objection.why for objection in step_then.objections)
            why = why or groundless(step_now.drawn, now, then)
            if why:
                yield BalanceProblem(entry, why)
            else:
                then.update(step_then.changes)
        now.update(step_now.changes)


def groundless(drawn: Iterable[str], now: Mapping[str, VesselState], then: Mapping[str, VesselState]) -> str:
    """Say why wine that was drawn would have come from nowhere: the journal no longer says what its vessel held."""
    for vessel in drawn:
        if now.get(vessel, UNKNOWN).known and not then.get(vessel, UNKNOWN).known:
            return f"the journal would no longer say what {vessel} held"
    return ""


def refuse(what: str, verdict: BalanceVerdict) -> EntryRefused:
    """Make the refusal of what a verdict speaks against; what: the entry or the strike, as its problems name it."""
    problems = [Problem(what, "", "", objection.why) for objection in verdict.objections]
    problems += [
        Problem(what, "", "", f"{impossible.entry} could then not be: {impossible.why}") for impossible in verdict.later
    ]
    return EntryRefused(problems, [impossible.entry.id for impossible in verdict.later])
