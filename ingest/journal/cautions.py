"""The caution that belongs to an entry: one line where acid, iodine, sulfite, pressure or glass is handled. Pure.

General care; the label, the safety data sheet and local rules go before it.
"""

from __future__ import annotations

__all__ = ["caution"]

from collections.abc import Mapping
from typing import Final

from ingest.journal.analyses import CalibrationBody, TitrationBody
from ingest.journal.bodies import Kind
from ingest.journal.body import Body
from ingest.journal.movements import StateBody
from ingest.journal.treatments import AdditionBody, GasBody

_IODINE: Final = (
    "the acid burns and the iodine stains: goggles and gloves, acid into water, never the reverse; what was titrated "
    "is waste and never goes back to the vessel"
)
_AERATION: Final = (
    "acid, peroxide and sodium hydroxide burn eyes and skin: goggles and gloves; what was titrated is waste and never "
    "goes back to the vessel"
)
_TITRANT: Final = "iodine stains and is harmful, sodium hydroxide burns the eyes: goggles and gloves, label the bottle"
_SULFITE: Final = (
    "sulfite gives off SO2, which can set off asthma: fresh air, goggles, no acid near the powder or the stock solution"
)
_PRESSURE: Final = (
    "gas under pressure: stay below the vessel's stamped maximum, vent before opening; nitrogen, argon and carbon "
    "dioxide take the air of a small room"
)
_OPENED: Final = "a gauge's zero needs an open vessel: vent it slowly, with the room aired"
_GLASS: Final = "glass takes no pressure and breaks when lifted wet: never push wine into it with a shut lid; gloves"
_OPENED_KEG: Final = "a keg may be under pressure: shut the gas and vent it before it is opened, with the room aired"
_BOTTLES: Final = "glass bottles: look for chips before filling, gloves at the corker"


def caution(kind: Kind, body: Body, *, glass: bool = False, pressure: bool = False) -> str:
    """One sentence, "" where none is due.

    glass: a vessel that the entry names is made of it; pressure: one is kept under gas pressure.
    """
    if kind in _OPENS and not (isinstance(body, StateBody) and body.state not in ("emptied", "cleaned")):
        return "; ".join(text for text, due in ((_GLASS, glass), (_OPENED_KEG, pressure)) if due)
    nothing_dangerous = (
        (isinstance(body, TitrationBody) and body.method == "elsewhere")
        or (isinstance(body, AdditionBody) and body.form == "other")
        or (isinstance(body, GasBody) and body.act == "supply shut")
        or (isinstance(body, CalibrationBody) and body.unit != "kPa")
    )
    if nothing_dangerous:
        return ""
    if isinstance(body, GasBody) and glass:
        return f"{_PRESSURE}; {_GLASS}"
    if isinstance(body, TitrationBody) and body.method == "aeration":
        return _AERATION
    return _OF_KIND.get(kind, "")


# What is done with a vessel open, or with its wine on the way.
_OPENS: Final = frozenset({"fill", "racking", "topping", "state"})

_OF_KIND: Final[Mapping[Kind, str]] = {
    "titration": _IODINE,
    "titrant": _TITRANT,
    "addition": _SULFITE,
    "gas": _PRESSURE,
    "bottling": _BOTTLES,
    "calibration": _OPENED,
}
