"""One row of a day of titrations: the wine, what was titrated, and what that gives."""

from __future__ import annotations

__all__ = ["TitrationRow", "titration_row"]

from typing import NamedTuple

from ingest.journal.entry import Draft
from ingest.journal.kinds.titration import TitrationBody


class TitrationRow(NamedTuple):
    """Texts. wine: vessel or lot; titres: "" for a result from elsewhere; found: SO2; spread: "" where not known."""

    wine: str
    titres: str
    found: str
    spread: str


def titration_row(draft: Draft, words: str) -> TitrationRow:
    """Make the row of a titration. words: what it says. Raises ValueError for another kind of entry."""
    body = draft.body
    if not isinstance(body, TitrationBody):
        raise ValueError(f"{draft} is not a titration")
    # A difference of decimal readings is a hair off.
    titres = ", ".join(f"{round(flask.used_ml, 6):g}" for flask in body.flasks)
    found = words.rsplit(": ", 1)[-1].split(", ", maxsplit=1)[0]
    spread = "" if body.u_so2_mg_l is None or body.so2_mg_l is None else f"{body.u_so2_mg_l:.1f} mg/L"
    return TitrationRow(draft.where, f"{titres} mL" if titres else "", found, spread)
