"""What cannot be when many entries and strikes come into a journal at once. Pure."""

from __future__ import annotations

__all__ = ["Unfit", "judge_merged"]

import heapq
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import NamedTuple

from ingest.journal.balance import groundless
from ingest.journal.entry import Entry, places_of
from ingest.journal.kinds import ledger_step, moves
from ingest.journal.ledger import Ledger
from ingest.journal.vessel_state import UNKNOWN, VesselState


class Unfit(NamedTuple):
    """An entry that could not be. causes: the ids of new or newly struck entries from which that follows, itself if it
    is new.
    """

    entry: Entry
    causes: tuple[int, ...]
    why: str


def judge_merged(folding: Ledger, new: Sequence[Entry], struck: Collection[int]) -> list[Unfit]:
    """The entries that could not be with all of it.

    folding: the journal without what is new, with what is newly struck, from before the first of both on; new: entries
    that hold; struck: ids of entries of the journal. An entry that could not be counts all the same for those after it,
    so that one wrong number is told once.
    """
    coming = sorted((folding.named(entry) for entry in new if moves(entry)), key=_key)
    fresh = {entry.id for entry in coming}
    now = folding.before((-1, -1))
    then = dict(now)
    causes: dict[str, set[int]] = {}
    unfit = []
    for entry in heapq.merge(folding.after((-1, -1)), coming, key=_key):
        there = ledger_step(entry, lambda vessel: then.get(vessel, UNKNOWN), folding.equipment)
        if entry.id in fresh:
            if there.objections:
                unfit.append(Unfit(entry, (entry.id,), "; ".join(one.why for one in there.objections)))
            then.update(there.changes)
            _note(causes, there.changes, {entry.id}, now, then)
            continue
        here = ledger_step(entry, lambda vessel: now.get(vessel, UNKNOWN), folding.equipment)
        if entry.id in struck:
            because = {entry.id}
        else:
            because = set().union(*(causes.get(vessel, ()) for vessel in places_of(entry.place, entry.body)))
            why = "" if here.objections else "; ".join(one.why for one in there.objections)
            why = why or groundless(here.drawn, now, then)
            if why:
                unfit.append(Unfit(entry, tuple(sorted(because)), why))
            then.update(there.changes)
        now.update(here.changes)
        _note(causes, {*here.changes, *there.changes}, because, now, then)
    return unfit


def _key(entry: Entry) -> tuple[int, int]:
    return (entry.at_ms, entry.id)


def _note(
    causes: dict[str, set[int]],
    vessels: Iterable[str],
    because: Collection[int],
    now: Mapping[str, VesselState],
    then: Mapping[str, VesselState],
) -> None:
    """Keep for each vessel from what it follows that it holds something else than it did."""
    for vessel in vessels:
        if now.get(vessel, UNKNOWN) == then.get(vessel, UNKNOWN):
            causes.pop(vessel, None)
        else:
            causes.setdefault(vessel, set()).update(because)
