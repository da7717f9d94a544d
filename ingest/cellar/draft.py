"""A cellar file half-way: each table read on its own, so that one wrong table hides nothing in the others."""

from __future__ import annotations

__all__ = ["CellarDraft", "Check", "IdSpace", "TableKind"]

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, TypeVar

from ingest.cellar.equipment import Cylinder, Place, Room, Vessel
from ingest.cellar.form import Table
from ingest.cellar.quantities import PlaceKind
from ingest.cellar.table_entry import TableEntry, WrittenTable, as_written, known_keys, read_entry, suggestion
from ingest.errors import Problem

_M = TypeVar("_M", bound=Table)

# Ids of one space differ from each other; an id of another space may be the same.
IdSpace = Literal["places", "probes", "serial lines", "gas lines", "limits", "people", "channels"]
Check = Callable[["CellarDraft"], Iterable[Problem]]


@dataclass(frozen=True, slots=True, kw_only=True)
class TableKind:
    """A kind of table that a cellar file may have.

    repeated: written as ``[[name]]``, as often as needed; needed: a file without it is wrong; absent: what stands for
    a table that is left out; ids: what its ids name; check: finds what is wrong between its keys and with other tables.
    """

    name: str
    model: type[Table]
    repeated: bool = False
    needed: bool = False
    absent: Table | None = None
    ids: IdSpace | None = None
    check: Check | None = None

    @property
    def label(self) -> str:
        """How the table begins in the file."""
        return f"[[{self.name}]]" if self.repeated else f"[{self.name}]"


class CellarDraft:
    """The tables of a file that could be read, and the problems of those that could not.

    The ids of a table that could not be read count as known, so that one mistake does not look like many.
    """

    def __init__(self, tables: Mapping[str, object], kinds: Sequence[TableKind]) -> None:
        self.kinds = tuple(kinds)
        self._tables = tables
        self.problems = [*_shape_problems(tables, kinds)]
        self._written = {kind.model: _written(kind, tables.get(kind.name)) for kind in kinds}
        self._entries: dict[type[Table], list[TableEntry[Any]]] = {}
        for kind in kinds:
            read = [read_entry(kind.model, written) for written in self._written[kind.model]]
            self._entries[kind.model] = [entry for entry, _ in read if entry is not None]
            self.problems += [self._with_its_table(problem) for _, problems in read for problem in problems]

    def _with_its_table(self, problem: Problem) -> Problem:
        """Add to the problem of a key that there is not in which table such a key may stand."""
        if not problem.allowed.startswith("there is no such key; known keys"):
            return problem
        words = {problem.key, *problem.key.split("_")}
        for kind in self.kinds:
            key = next((key for key in known_keys(kind.model) if key in words), "")
            if key and not kind.repeated and not problem.table.startswith(f"[{kind.name}]"):
                return replace(problem, allowed=f"{problem.allowed}; {kind.label} has {key}")
        return problem

    def without_wrong_keys(self) -> CellarDraft:
        """Give the draft as it is without the keys that are wrong in themselves."""
        wrong: dict[str, set[str]] = {}
        for problem in self.problems:
            wrong.setdefault(problem.table, set()).add(problem.key)
        tables = dict(self._tables)
        for kind in self.kinds:
            kept = [
                {key: value for key, value in table.raw.items() if key not in wrong.get(table.label, ())}
                for table in self._written[kind.model]
            ]
            if kept:
                tables[kind.name] = kept if kind.repeated else kept[0]
        return CellarDraft(tables, self.kinds)

    def written(self, model: type[Table]) -> Sequence[WrittenTable]:
        """List every table of a kind that is in the file, also those that could not be read."""
        return self._written[model]

    def entries(self, model: type[_M]) -> Sequence[TableEntry[_M]]:
        """List every table of a kind that could be read."""
        return self._entries[model]

    def models(self, model: type[_M]) -> list[_M]:
        """List the models of every table of a kind that could be read."""
        return [entry.model for entry in self.entries(model)]

    def complete(self, *models: type[Table]) -> bool:
        """Say whether every table of these kinds could be read."""
        return all(len(self._written[model]) == len(self._entries[model]) for model in models)

    def ids(self, of: IdSpace | type[Table]) -> list[str]:
        """List every id that is written in the tables of a space, or of one kind."""
        models = [kind.model for kind in self.kinds if of in (kind.ids, kind.model)]
        ids = [written.raw.get("id") for model in models for written in self._written[model]]
        return [id for id in ids if isinstance(id, str)]

    def place_kinds(self) -> dict[str, PlaceKind]:
        """Give the kind of each place that could be read, by its id."""
        places: list[Place] = [*self.models(Room), *self.models(Cylinder), *self.models(Vessel)]
        return {place.id: place.kind for place in places}

    def value(self, kind: TableKind) -> Table | tuple[Table, ...] | None:
        """Give what a cellar holds of a kind of table: all of a repeated one, else the one or what stands for it."""
        models = self.models(kind.model)
        if kind.repeated:
            return tuple(models)
        return models[0] if models else kind.absent


def _shape_problems(tables: Mapping[str, object], kinds: Sequence[TableKind]) -> Iterator[Problem]:
    known = {kind.name: kind for kind in kinds}
    for name, value in tables.items():
        kind = known.get(name)
        if kind is None and isinstance(value, dict | list):
            yield Problem(f"[{name}]", "", "", f"there is no such table; {suggestion(name, known, 'known tables')}")
        elif kind is None:
            yield Problem("the file", name, as_written(name, value), "a key must stand inside a table, such as [site]")
        elif kind.repeated and not (isinstance(value, list) and all(isinstance(item, dict) for item in value)):
            yield Problem(kind.label, "", "", f"write each one as a table {kind.label} with double brackets")
        elif not kind.repeated and not isinstance(value, dict):
            yield Problem(kind.label, "", "", f"write it once, as a table {kind.label} with single brackets")
    for kind in kinds:
        if kind.needed and kind.name not in tables:
            keys = " and ".join(key for key, info in known_keys(kind.model).items() if info.is_required())
            yield Problem(kind.label, "", "", f"is missing: a table {kind.label} with {keys} is needed")


def _written(kind: TableKind, value: object) -> list[WrittenTable]:
    if not kind.repeated:
        return [WrittenTable(kind.label, value)] if isinstance(value, dict) else []
    items = [item for item in value if isinstance(item, dict)] if isinstance(value, list) else []
    return [WrittenTable(_label(kind.name, number, raw), raw) for number, raw in enumerate(items, start=1)]


def _label(name: str, number: int, raw: Mapping[str, object]) -> str:
    """Name a table for messages: by its id, a limit without one by what it judges, else by its number."""
    if isinstance(raw.get("id"), str) and raw["id"]:
        return f"[[{name}]] {raw['id']}"
    at, lot, quantity = raw.get("at"), raw.get("lot"), raw.get("quantity")
    owner = f"lot {lot}" if isinstance(lot, str) else at
    sides = [side for side in ("low", "high", "rate") if side in raw]
    if name == "limit" and isinstance(owner, str) and isinstance(quantity, str) and len(sides) == 1:
        return f"[[limit]] {owner}/{quantity}/{sides[0]}"
    return f"[[{name}]] no. {number}"
