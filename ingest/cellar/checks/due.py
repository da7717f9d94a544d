"""Limits on work that falls due: they name what the work is done to, and leave out what only a limit on a value has."""

from __future__ import annotations

__all__ = ["due_problems", "is_on_due_work"]

from collections.abc import Iterator
from typing import Final

from ingest.cellar.checks.ids import unknown_name
from ingest.cellar.draft import CellarDraft
from ingest.cellar.due_work import DUE_NAMES, DUE_WORK, DueWork
from ingest.cellar.equipment import Probe, Vessel
from ingest.cellar.limits import LimitSettings
from ingest.cellar.table_entry import TableEntry, WrittenTable
from ingest.errors import Problem

_ON_VALUES: Final = ("quantity", "low", "high", "rate", "no_data", "deadband", "on_delay", "off_delay")


def is_on_due_work(written: WrittenTable) -> bool:
    """Whether a table ``[[limit]]`` is on work that falls due."""
    return "due" in written.raw or "after" in written.raw


def due_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find what is wrong with limits on work that falls due."""
    targets: set[tuple[object, ...]] = set()
    for entry in draft.entries(LimitSettings):
        if not is_on_due_work(entry):
            continue
        problems = [*_form(entry)] or [*_target(entry, draft)]
        target = tuple(entry.raw.get(key) for key in ("due", "at", "lot", "probe"))
        if not problems and target in targets:
            problems = [entry.problem("due", "another limit is on the same work there; leave one of them out")]
        targets.add(target)
        yield from problems


def _form(entry: TableEntry[LimitSettings]) -> Iterator[Problem]:
    raw = entry.raw
    if "due" not in raw:
        yield entry.problem("due", f"is missing: which work falls due after that time, one of {', '.join(DUE_NAMES)}")
    if "after" not in raw:
        yield entry.problem("after", 'is missing: how long after it was done last it falls due, such as after = "35 d"')
    for key in _ON_VALUES:
        if key in raw:
            yield entry.problem(key, "a limit on due work has none; leave it out, or write a second [[limit]]")
    if raw.get("hours") == "any":
        yield entry.problem("hours", 'nobody is woken for due work; write "waking" or "digest", or leave it out')
    if raw.get("priority") == "high":
        yield entry.problem("priority", 'due work is never urgent; write "low" or "medium"')


def _target(entry: TableEntry[LimitSettings], draft: CellarDraft) -> Iterator[Problem]:
    limit = entry.model
    assert limit.due is not None
    work = DUE_WORK[limit.due]
    allowed = _ALLOWED[work.of]
    wrong = [key for key in ("at", "lot", "probe") if key in entry.raw and key not in allowed]
    for key in wrong:
        yield entry.problem(key, f"{work.name} is {_OF[work.of]}; leave it out")
    if wrong:
        return
    named = [key for key in allowed if key in entry.raw]
    if len(named) > 1:
        yield entry.problem(named[1], f"give one of {' and '.join(allowed)}, not both")
    elif not named and allowed:
        yield entry.problem(allowed[0], f"is missing: {_MISSING[work.of]}")
    elif named == ["at"]:
        yield from _place(entry, work, draft)
    elif named == ["probe"] and limit.probe not in draft.ids("probes"):
        yield entry.problem("probe", unknown_name("probe", limit.probe or "", draft.ids("probes")))


def _place(entry: TableEntry[LimitSettings], work: DueWork, draft: CellarDraft) -> Iterator[Problem]:
    at = entry.model.at or ""
    places, vessels = draft.ids("places"), draft.ids(Vessel)
    if at not in places:
        yield entry.problem("at", unknown_name("vessel, cylinder or room", at, places))
    elif work.of != "probe" and at not in vessels:
        yield entry.problem("at", f"{work.name} is {_OF[work.of]}, and this is not a vessel")
    elif work.of == "probe" and draft.complete(Probe) and all(probe.at != at for probe in draft.models(Probe)):
        yield entry.problem("at", "there is no probe at that place")


_ALLOWED: Final = {"wine": ("lot", "at"), "vessel": ("at", "lot"), "probe": ("probe", "at"), "titrant": ()}
_OF: Final = {
    "wine": "done to wine",
    "vessel": "done to a vessel with wine",
    "probe": "done to a probe",
    "titrant": "done to a bottle of titrant, whatever lies where",
}
_MISSING: Final = {
    "wine": 'the id of a lot, or lot = "any" for all wine; or at with a vessel',
    "vessel": 'the id of a vessel; or lot = "any" for every vessel that holds wine',
    "probe": "the id of a probe; or at with a place for all of its probes",
}
