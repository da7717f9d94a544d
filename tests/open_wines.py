"""The 1,599 red wines of the open Wine Quality data (Cortez and others 2009, UCI), as tests/run fetches them."""

from __future__ import annotations

__all__ = ["OpenWine", "open_wines"]

import csv
from functools import cache
from pathlib import Path
from typing import Final, NamedTuple

_FILE: Final = Path(__file__).resolve().parent.parent / ".venv" / "data" / "winequality-red.csv"
# Columns of the file, which has no header: fixed acidity, volatile acidity, citric acid, residual sugar [g/L],
# chlorides, free and total SO2 [mg/L], density, pH, sulphates, alcohol [% vol], class.
_SUGAR, _FREE, _TOTAL, _PH, _ALCOHOL, _COLUMNS = 3, 5, 6, 8, 10, 12


class OpenWine(NamedTuple):
    """One analysed wine."""

    free_mg_l: float
    total_mg_l: float
    ph: float
    alcohol_percent_vol: float
    sugar_g_l: float


@cache
def open_wines() -> tuple[OpenWine, ...]:
    """All of them. Fails where they have not been fetched."""
    assert _FILE.exists(), f"{_FILE} is not there: bash tests/run fetches it"
    with _FILE.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.reader(lines))
    assert {len(row) for row in rows} == {_COLUMNS}
    return tuple(OpenWine(*(float(row[column]) for column in (_FREE, _TOTAL, _PH, _ALCOHOL, _SUGAR))) for row in rows)
