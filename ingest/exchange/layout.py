"""What each column of a table holds: by the names in the first row, or by number if it has none."""

from __future__ import annotations

__all__ = ["OWN_COLUMNS", "Layout", "Series", "one_probe_layout", "own_layout", "wide_layout"]

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from ingest.errors import IngestError

OWN_COLUMNS: Final = ("at", "probe", "place", "quantity", "value", "unit", "quality")
"""The first row of what ``leeside export --csv`` writes."""

# Probe, place, quantity.
Series = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Layout:
    """Where times and values are in the rows of a table.

    at: the position of the time in a row, from 0; values: (position, series id) of each value; own: series by names,
    for a table that leeside wrote, in which each row names its series; headed: whether the first row holds names.
    """

    at: int
    values: tuple[tuple[int, int], ...] = ()
    own: Mapping[Series, int] | None = None
    headed: bool = True


def own_layout(first: Sequence[str], series: Mapping[Series, int]) -> Layout | None:
    """Return the layout of a table that leeside wrote itself, None if this first row is not that of one."""
    return Layout(0, (), dict(series)) if tuple(first) == OWN_COLUMNS else None


def one_probe_layout(first: Sequence[str], at: str, value: str, series: int) -> Layout:
    """Return the layout for a column of times and one of values. Raises IngestError for a column that is missing."""
    return wide_layout(first, at, [(value, series)])


def wide_layout(first: Sequence[str], at: str, values: Sequence[tuple[str, int]]) -> Layout:
    """Return the layout for a column of times and a column of values for each of several series ids.

    Columns are given by name, or by number from 1 in a table without names; a table has none if its first row has none
    of the given names and all of them are numbers. Raises IngestError for a column that is missing or is given twice.
    """
    names = [name.strip() for name in first]
    wanted = [at, *(name for name, _ in values)]
    headed = any(name in names for name in wanted) or not all(name.isascii() and name.isdigit() for name in wanted)
    places = [_place(names, name) if headed else _numbered(len(names), name) for name in wanted]
    if len(set(places)) < len(places):
        raise IngestError(f"one column cannot be two things: {', '.join(wanted)}")
    return Layout(places[0], tuple(zip(places[1:], (series for _, series in values), strict=True)), headed=headed)


def _place(names: Sequence[str], name: str) -> int:
    count = names.count(name)
    if count == 1:
        return names.index(name)
    if count:
        raise IngestError(f"the first row names the column '{name}' {count} times; give each column another name")
    shown = ", ".join(f"'{known}'" for known in names[:20])
    alone = "; are its columns separated by another --delimiter?" if len(names) == 1 else ""
    raise IngestError(f"there is no column '{name}'; the first row names {shown}{alone}")


def _numbered(count: int, name: str) -> int:
    if not 1 <= int(name) <= count:
        raise IngestError(f"there is no column {name}; the first row has {count}")
    return int(name) - 1
