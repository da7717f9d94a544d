"""Entries of a file, looked at as if they were written here one by one: worked out, checked, and warned of. Pure.

What the answers of an entry give (a titration's mg/L, the SO2 of an addition, the wine by a weight) is worked out where
the file does not say it. Where the file says it otherwise, or where it cannot be worked out, the entry is wrong.
"""

from __future__ import annotations

__all__ = ["Reviewed", "reviewed"]

import heapq
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, NamedTuple

from ingest.cellar import Cellar
from ingest.journal.answers import AnswersWrong, Wrong
from ingest.journal.body import Body
from ingest.journal.contents import Contents
from ingest.journal.drafting import draft_entry, given_of, missing
from ingest.journal.entry import Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds import KINDS, ledger_step
from ingest.journal.kinds.kind import NamedVessels, place_question
from ingest.journal.kinds.titration import TitrationBody
from ingest.journal.ledger import Ledger
from ingest.journal.titrant_bottles import TitrantBody, TitrantBottles, bottles_at
from ingest.journal.vessel_state import UNKNOWN, VesselState

# How far a number in a file may be off from what its entry gives, as a part of it, and in mg/L or g: rounding.
_PART_OFF: Final = 0.01
_OFF: Final[Mapping[str, float]] = {"so2_mg_l": 0.1, "so2_g": 0.001}
_MUST_AGREE: Final = frozenset(_OFF)


class Reviewed(NamedTuple):
    """An entry with what was worked out; warnings: what can hardly be; whys: why it cannot be."""

    entry: Entry
    warnings: tuple[str, ...] = ()
    whys: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Bottles:
    """The entries on bottles, in order; ever: what was last said of each, by entries that were struck, too."""

    entries: Sequence[Entry]
    ever: Mapping[str, TitrantBody]

    def of(self, body: Body, at_ms: int) -> TitrantBottles:
        """The bottles of a time. One that a titration carries the strength of is as it says."""
        bottles = bottles_at(self.entries, at_ms)
        if not isinstance(body, TitrationBody) or body.titrant is None or body.strength is None:
            return bottles
        known = bottles.there.get(body.titrant) or self.ever.get(body.titrant)
        if known is None:
            return bottles
        as_then = known.model_copy(update={"strength": body.strength, "factor": body.factor})
        return bottles._replace(there={**bottles.there, body.titrant: as_then})


def reviewed(
    new: Iterable[Entry], journal: Iterable[Entry], gone: Collection[int], ledger: Ledger, cellar: Cellar
) -> Iterator[Reviewed]:
    """Go through new entries that hold, in the order in which they happened.

    journal: all other entries on bottles and lots, struck ones as well, and the new ones that are struck; gone: the
    numbers of those that the file strikes; ledger: the journal so far, from before the first new entry on.
    """
    ordered, journal = sorted(new, key=_key), list(journal)
    holding = [each for each in journal if each.struck is None and each.id not in gone]
    for number in gone:
        ledger.lots.remove(number)
    for each in ordered:
        ledger.lots.add(each)
    titrants = sorted((each for each in (*holding, *ordered) if each.kind == "titrant"), key=_key)
    ever = {each.body.name: each.body for each in (*journal, *ordered) if isinstance(each.body, TitrantBody)}
    bottles = _Bottles(titrants, ever)
    if not ordered:
        return
    numbers = {each.id for each in ordered}
    states = ledger.before(ordered[0].key)
    for entry in heapq.merge(ledger.after(ordered[0].key), ordered, key=_key):
        if entry.id in numbers:
            yield _reviewed(entry, states, bottles, ledger, cellar)
        elif entry.id not in gone:
            states.update(_changes(entry, states, ledger))


def _reviewed(
    entry: Entry, states: dict[str, VesselState], bottles: _Bottles, ledger: Ledger, cellar: Cellar
) -> Reviewed:
    kind, named = KINDS[entry.kind], ledger.named(entry)
    before = _contents(named, states, ledger)
    context = EntryContext(cellar, before, ledger.lots, bottles.of(entry.body, entry.at_ms), None, ())
    # A lot is compared with what was said of it before this entry.
    ledger.lots.remove(entry.id)
    try:
        body, warnings = _worked_out(named, context, cellar)
    except AnswersWrong as error:
        return Reviewed(entry, (), tuple(f"{entry.kind} {name}: {why}" for name, why in error.wrong))
    finally:
        ledger.lots.add(entry)
    # Places stay as they are called in the file; what was worked out names none.
    entry = replace(entry, body=entry.body.model_copy(update=body))
    named = ledger.named(entry)
    states.update(_changes(named, states, ledger))
    after = _contents(named, states, ledger) if kind.ledger_step and kind.shows_contents(named.body) else {}
    vessels = NamedVessels(
        [vessel for vessel in cellar.vessel if vessel.id in named.places],
        None if named.place is None else before.get(named.place),
        tuple(after.values()),
    )
    warnings = (*warnings, *kind.warnings(named.body, vessels))
    return Reviewed(entry, warnings)


def _worked_out(entry: Entry, context: EntryContext, cellar: Cellar) -> tuple[dict[str, Any], tuple[str, ...]]:
    """What the body of an entry lacks, and what speaks against it. Raises AnswersWrong."""
    kind, body = KINDS[entry.kind], entry.body
    keys = kind.worked_out(body)
    says = {key for key in keys if getattr(body, key) is not None}
    checked = keys & _MUST_AGREE
    # A weight that says its volume, or that it has none, was worked out with the tare of its time.
    if not (checked or kind.judges_lines or (keys and not says and not body.notes)):
        return {}, ()
    given = given_of(kind, entry, place_question(None if entry.place is None else cellar.place_kind(entry.place)))
    if checked <= says and missing(kind, given):
        return {}, ()  # a result whose answers nobody gave stands for itself
    drafted = draft_entry(kind, given, context, who=entry.who, at_ms=entry.at_ms)
    worked = drafted.draft.body
    wrong = [_disagreement(key, body, worked) for key in sorted(checked & says) if _differ(key, body, worked)]
    if wrong:
        raise AnswersWrong(wrong)
    lacks = {key: getattr(worked, key) for key in keys - says}
    if any(value is not None for value in lacks.values()):
        lacks["notes"] = body.notes or worked.notes
    return lacks, drafted.warnings


def _differ(key: str, body: Body, worked: Body) -> bool:
    says, gives = getattr(body, key), getattr(worked, key)
    return gives is None or abs(says - gives) > max(_OFF[key], _PART_OFF * gives)


def _disagreement(key: str, body: Body, worked: Body) -> Wrong:
    says, gives = getattr(body, key), getattr(worked, key)
    found = "nothing above the blank" if gives is None else f"{gives:.4g}"
    return Wrong(key, f"{says:g} is not what the rest of it gives, {found}; leave it out, and it is worked out")


def _contents(entry: Entry, states: Mapping[str, VesselState], ledger: Ledger) -> dict[str, Contents]:
    """What the vessels that an entry names hold."""
    return {place: ledger.contents_of(place, states.get(place, UNKNOWN), entry.at_ms) for place in entry.places}


def _changes(entry: Entry, states: Mapping[str, VesselState], ledger: Ledger) -> Mapping[str, VesselState]:
    return ledger_step(entry, lambda vessel: states.get(vessel, UNKNOWN), ledger.equipment).changes


def _key(entry: Entry) -> tuple[int, int]:
    return entry.key
