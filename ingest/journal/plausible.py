"""What an entry says that can hardly be: gas on glass, a dose past any use, wine that went nowhere. Pure.

These are warnings and no refusals: the journal says what happened, also where it should not have.
"""

from __future__ import annotations

__all__ = ["dose_warnings", "gone_warnings", "measured_warnings", "pressed_glass_warnings", "stock_warnings"]

import math
from collections.abc import Iterable
from typing import Final

from ingest.journal.analyses import MEASURED_UNITS, MeasurementBody
from ingest.journal.body import Body
from ingest.journal.contents import Contents
from ingest.journal.held import liters
from ingest.journal.movements import BottlingBody, StateBody
from ingest.journal.treatments import AdditionBody, GasBody

# No wine needs more total SO2: the highest limit in the European Union is 400 mg/L, for some sweet wines (Regulation
# (EU) 2019/934, annex I part B; from memory).
_MOST_TOTAL_MG_L: Final = 400.0

# More metabisulfite does not dissolve in 100 mL of cold water: about 65 g of the sodium salt, 45 g of the potassium
# salt at 20 degC (handbook values from memory, rounded up).
_MOST_STOCK_G_PER_100_ML: Final = {"sodium": 70.0, "potassium": 50.0}

# What is measured in wine or at its vessel lies between these (common practice, no source; wide on purpose).
_USUAL: Final = {
    "pH": (2.5, 4.5),
    "temperature": (-10.0, 50.0),
    "alcohol": (0.0, 25.0),
    "density": (0.95, 1.2),
    "free_so2": (0.0, 200.0),
    "total_so2": (0.0, 500.0),
}

# A bottling rarely loses more than this part of what was there without anybody writing it down as waste (common
# practice, no source).
_UNTOLD: Final = 0.05

# Pushing with a few kPa is done with open vessels; a shut carboy bursts at little more (common practice, no source).
_PRESSES: Final = frozenset({"charged", "pushed"})


def pressed_glass_warnings(body: Body, glass: Iterable[str]) -> tuple[str, ...]:
    """That gas was put on vessels of glass; glass: their names, as far as the entry names them."""
    if not isinstance(body, GasBody) or body.act not in _PRESSES:
        return ()
    return tuple(
        f"{vessel} is of glass, and glass bursts under pressure: shut the gas, vent it, and keep away until it is open"
        for vessel in glass
    )


def stock_warnings(body: Body) -> tuple[str, ...]:
    """That a stock solution would be stronger than the salt dissolves."""
    if not isinstance(body, AdditionBody) or body.stock_g_per_100_ml is None:
        return ()
    most = _MOST_STOCK_G_PER_100_ML.get(body.salt or "", max(_MOST_STOCK_G_PER_100_ML.values()))
    stock = body.stock_g_per_100_ml
    if stock <= most:
        return ()
    return (f"{stock:g} g in 100 mL do not dissolve, some {most:g} g at most do: look at the strength",)


def dose_warnings(body: Body, after: Iterable[Contents]) -> tuple[str, ...]:
    """That an addition brings a vessel's total SO2 past what any wine needs; after: what it holds then."""
    if not isinstance(body, AdditionBody):
        return ()
    return tuple(
        f"{held.vessel} would then have {held.total_so2.mg_l:.0f} mg/L total SO2, and no wine may have more than "
        f"{_MOST_TOTAL_MG_L:.0f}: look at the amount and its unit"
        for held in after
        if held.total_so2 is not None and held.total_so2.mg_l > _MOST_TOTAL_MG_L
    )


def measured_warnings(body: Body) -> tuple[str, ...]:
    """That a number is none that wine has."""
    if not isinstance(body, MeasurementBody) or body.quantity not in _USUAL:
        return ()
    low, high = _USUAL[body.quantity]
    if low <= body.value <= high:
        return ()
    name, unit = body.quantity.replace("_so2", " SO2"), body.unit or MEASURED_UNITS.get(body.quantity, "")
    return (f"{name} {body.value:g} {unit}".rstrip() + f" is not of wine, which has {low:g} to {high:g}: look again",)


def gone_warnings(body: Body, before: Contents | None) -> tuple[str, ...]:
    """That wine is gone without being told; before: what the entry's vessel held."""
    if before is None or before.volume_l is None or before.volume_l <= 0.0:
        return ()
    held = f"{before.vessel} held {liters(before.volume_l)}"
    if isinstance(body, StateBody):
        return (f"{held}, all of which is then gone",) if body.state == "emptied" else ()
    if not isinstance(body, BottlingBody) or body.remainder_l is None:
        return ()
    told = math.fsum(one.number * one.size_l for one in body.bottles) + body.waste_l + body.remainder_l
    gone = before.volume_l - told
    if gone <= max(_UNTOLD * before.volume_l, 2.0 * (before.u_volume_l or 0.0)):
        return ()
    return (f"{held}, and {liters(told)} are told of: {liters(gone)} are gone; count again, or write them as waste",)
