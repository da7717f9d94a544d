"""One line of a day of titrations: which wine, and the titre of each of its flasks. Pure."""

from __future__ import annotations

__all__ = ["TitrationLine", "read_titration_line"]

import re
from typing import Final, NamedTuple

from ingest.cellar import split_amount

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
    amounts, rest = [], match[2]
    while rest:
        found = _AMOUNT.match(rest)
        if found is None:
            raise ValueError(f"'{rest.strip()}' is not a number of {unit}; write the line as {EXAMPLE}")
        number, _ = split_amount(found[1].replace(",", "."))
        amounts.append(f"{number!r} {found[2] or unit}")
        rest = rest[found.end() :]
    return TitrationLine(match[1], tuple(amounts))
