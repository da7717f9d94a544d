"""Ids and former ids: each means one thing, and what is named exists."""

from __future__ import annotations

__all__ = ["name_problems", "unknown_name"]

from collections.abc import Iterable, Iterator
from typing import Final

from ingest.cellar.draft import CellarDraft, TableEntry, nearest, shown
from ingest.cellar.equipment import Cylinder, Vessel
from ingest.errors import Problem

_PLACES: Final = ("room", "cylinder", "vessel")
_NAME_SPACES: Final = (
    (_PLACES, "places"),
    (("probe",), "probes"),
    (("serial",), "serial lines"),
    (("limit",), "limits"),
)
# What samples of the other ways in are marked with.
_SOURCES: Final = ("mqtt", "w1")


def name_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Ids that are given twice, former ids (``was``) that are still in use, rooms that do not exist."""
    for tables, what in _NAME_SPACES:
        yield from _given_twice(draft, tables, what)
    for tables in (_PLACES, ("probe",)):
        yield from _still_living(draft, tables)
    for label, raw in draft.written.get("serial", ()):
        if raw.get("id") in _SOURCES:
            yield Problem(
                label,
                "id",
                shown("id", raw["id"]),
                f"leeside itself calls a way in so; choose another than {' and '.join(_SOURCES)}",
            )
    rooms = draft.ids("room")
    standing: list[TableEntry[Cylinder] | TableEntry[Vessel]] = [*draft.cylinder, *draft.vessel]
    for entry in standing:
        if entry.model.room is not None and entry.model.room not in rooms:
            yield entry.problem("room", unknown_name("room", entry.model.room, rooms))


def unknown_name(what: str, name: str, known: Iterable[str]) -> str:
    """That nothing has this name, and which names come near or exist."""
    known = list(known)
    near = nearest(name, known)
    if near:
        return f'there is no {what} with this id; did you mean "{near}"?'
    return f"there is no {what} with this id; known: {', '.join(known) or 'none'}"


def _given_twice(draft: CellarDraft, tables: tuple[str, ...], what: str) -> Iterator[Problem]:
    first: dict[str, str] = {}
    for label, raw in (item for table in tables for item in draft.written.get(table, ())):
        id = raw.get("id")
        if not isinstance(id, str) or not id:
            continue
        if id.lower() in first:
            told = f"is taken by {first[id.lower()]}; ids of {what} must differ in more than upper and lower case"
            yield Problem(label, "id", shown("id", id), told)
        else:
            first[id.lower()] = label


def _still_living(draft: CellarDraft, tables: tuple[str, ...]) -> Iterator[Problem]:
    living = {id.lower() for id in draft.ids(*tables)}
    claimed: dict[str, str] = {}
    for label, raw in (item for table in tables for item in draft.written.get(table, ())):
        was = raw.get("was")
        if not isinstance(was, str):
            continue
        if was.lower() in living:
            yield Problem(label, "was", shown("was", was), "this id is still in use; was names an id that is gone")
        elif was.lower() in claimed:
            yield Problem(label, "was", shown("was", was), f"{claimed[was.lower()]} has this former id already")
        else:
            claimed[was.lower()] = label
