"""Which column of a table means what: by the names of the first row, or by number where there are none."""

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
    """at: the place of the time in a row, from 0; values: (place, series id) of each value; own: series by names, for a
    table that leeside wrote, in which each row names its series; headed: whether the first row holds names."""

    at: int
    values: tuple[tuple[int, int], ...] = ()
    own: Mapping[Series, int] | None = None
    headed: bool = True


def own_layout(first: Sequence[str], series: Mapping[Series, int]) -> Layout | None:
    """The layout of a table that leeside wrote itself, None if this first row is of another."""
    return Layout(0, (), dict(series)) if tuple(first) == OWN_COLUMNS else None


def one_probe_layout(first: Sequence[str], at: str, value: str, series: int) -> Layout:
    """One column of times and one of values. Raises IngestError for a column that is not there."""
    return wide_layout(first, at, [(value, series)])


def wide_layout(first: Sequence[str], at: str, values: Sequence[tuple[str, int]]) -> Layout:
    """One column of times and one of values for each of several series ids.

    Columns are told by name. In a table without names they are told by number, from 1; it is one if none of the first
    row's cells is such a name. Raises IngestError for a column that is not there or is told twice.
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
        raise IngestError(f"the first row names the column '{name}' {count} times; give each a name of its own")
    shown = ", ".join(f"'{known}'" for known in names[:20])
    alone = "; is it parted by another --delimiter?" if len(names) == 1 else ""
    raise IngestError(f"there is no column '{name}'; the first row names {shown}{alone}")


def _numbered(count: int, name: str) -> int:
    if not 1 <= int(name) <= count:
        raise IngestError(f"there is no column {name}; the first row has {count}")
    return int(name) - 1
