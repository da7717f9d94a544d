"""Ids and former ids: each means one thing, and what is named exists."""

from __future__ import annotations

__all__ = ["id_problems", "unknown_name"]

from collections.abc import Iterable, Iterator, Sequence

from ingest.cellar.draft import CellarDraft
from ingest.cellar.table_entry import WrittenTable, known_keys, suggestion
from ingest.errors import Problem


def id_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find ids that are given twice in one space, former ids (``was``) that are still in use or claimed twice."""
    spaces = dict.fromkeys(kind.ids for kind in draft.kinds if kind.ids is not None)
    tables = {
        space: [written for kind in draft.kinds if kind.ids == space for written in draft.written(kind.model)]
        for space in spaces
    }
    for space, written in tables.items():
        yield from _given_twice(written, space)
    for space, written in tables.items():
        if any("was" in known_keys(kind.model) for kind in draft.kinds if kind.ids == space):
            yield from _former_ids(written, draft.ids(space))


def unknown_name(what: str, name: str, known: Iterable[str]) -> str:
    """Say that nothing has this name, and which names come near or exist."""
    return f"there is no {what} with this id; {suggestion(name, known, 'known')}"


def _given_twice(tables: Sequence[WrittenTable], space: str) -> Iterator[Problem]:
    first: dict[str, str] = {}
    for table in tables:
        id = table.raw.get("id")
        if not isinstance(id, str) or not id:
            continue
        if id.lower() in first:
            other = first[id.lower()]
            yield table.problem(
                "id", f"is taken by {other}; ids of {space} must differ in more than upper and lower case"
            )
        else:
            first[id.lower()] = table.label


def _former_ids(tables: Sequence[WrittenTable], ids: Iterable[str]) -> Iterator[Problem]:
    used = {id.lower() for id in ids}
    claimed: dict[str, str] = {}
    for table in tables:
        was = table.raw.get("was")
        if not isinstance(was, str):
            continue
        if was.lower() in used:
            yield table.problem("was", "this id is still in use; was names an id that is gone")
        elif was.lower() in claimed:
            yield table.problem("was", f"{claimed[was.lower()]} has this former id already")
        else:
            claimed[was.lower()] = table.label
