"""One line of a day of results: which wine, and the titre of each of its flasks. Pure."""

from __future__ import annotations

__all__ = ["TitrationLine", "read_amounts", "read_titration_line", "wine_named"]

import re
from collections.abc import Iterable
from typing import Final, NamedTuple

from ingest.cellar import nearest, split_amount

EXAMPLE: Final = "K1 1.25 mL"

_NAME: Final = re.compile(r"\s*([^\s,;]+)\s*[,;]?\s*(.*)", re.DOTALL)
# A number with its unit, if it has one; several are parted by blanks, semicolons, or commas with a blank behind.
_AMOUNT: Final = re.compile(r"([-+]?[0-9]*[.,]?[0-9]+)\s*([a-zA-Zµ]+(?:/[a-zA-Z]+)?)?\s*(?:;|,(?=\s)|\s|$)\s*")


class TitrationLine(NamedTuple):
    """name: a vessel's or a lot's id; amounts: as texts with their unit, one for each flask."""

    name: str
    amounts: tuple[str, ...]


def read_titration_line(text: str, unit: str) -> TitrationLine:
    """Read a line such as "K1 1.25", "K1, 1,25 mL" or "K1; 1.25; 1.30". unit: of a number that names none.

    Raises ValueError that says how to write it.
    """
    match = _NAME.fullmatch(text)
    if match is None or not match[2].strip():
        raise ValueError(f"'{text.strip()}' is not a vessel or lot and its {unit}; write it as {EXAMPLE}")
    try:
        return TitrationLine(match[1], read_amounts(match[2], unit))
    except ValueError as error:
        raise ValueError(f"{error}; write the line as {EXAMPLE}") from None


def read_amounts(text: str, unit: str) -> tuple[str, ...]:
    """Read amounts behind each other, such as "1.25 1.30", as texts with their unit, ``unit`` where none is named.

    Raises ValueError for what is not a number.
    """
    amounts, rest = [], text
    while rest:
        found = _AMOUNT.match(rest)
        if found is None:
            raise ValueError(f"'{rest.strip()}' is not a number of {unit}")
        number, _ = split_amount(found[1].replace(",", "."))
        amounts.append(f"{number!r} {found[2] or unit}")
        rest = rest[found.end() :]
    return tuple(amounts)


def wine_named(name: str, vessels: Iterable[str], lots: Iterable[str]) -> dict[str, str]:
    """Give the answer that a name is: ``vessel``, else ``lot``. Raises ValueError that says which is meant."""
    vessels, lots = tuple(vessels), tuple(lots)
    if name in vessels:
        return {"vessel": name}
    if name in lots:
        return {"lot": name}
    near = nearest(name, (*vessels, *lots))
    there = f"did you mean {near}?" if near else f"there are: {', '.join((*vessels, *lots))}"
    raise ValueError(f"there is no vessel or lot '{name}'; {there}")
