"""What an entry says that can hardly be: gas on glass, a dose past any use, wine that went nowhere. Pure.

These are warnings and no refusals: the journal says what happened, also where it should not have.
"""

from __future__ import annotations

__all__ = [
    "dose_warnings",
    "drift_warnings",
    "gas_warnings",
    "gone_warnings",
    "measured_warnings",
    "stock_warnings",
]

import math
from collections.abc import Iterable
from typing import Final

from ingest.cellar import Vessel
from ingest.journal.analyses import MEASURED_UNITS, MeasurementBody, TitrationBody
from ingest.journal.body import Body
from ingest.journal.ledger import Contents
from ingest.journal.movements import BottlingBody, StateBody
from ingest.journal.titration import So2Quantity
from ingest.journal.titration_outcome import MOST_SO2_MG_L
from ingest.journal.treatments import AdditionBody, GasBody
from ingest.journal.vessel_state import liters

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
}

# A bottling rarely loses more than this part of what was there without anybody writing it down as waste (common
# practice, no source).
_UNTOLD: Final = 0.05

# How far a sound instrument drifts between two calibrations, in the quantity's unit (common practice, no source).
_DRIFT: Final = {"pH": 1.0, "temperature": 5.0, "pressure": 20.0}

# What puts a vessel under pressure; a shut carboy bursts at little (common practice, no source).
_PRESSES: Final = frozenset({"charged", "pushed"})


def gas_warnings(body: Body, vessels: Iterable[Vessel]) -> tuple[str, ...]:
    """That gas was put on vessels of glass, or more than is stamped on a vessel; vessels: that the entry names."""
    if not isinstance(body, GasBody):
        return ()
    found = []
    for vessel in vessels:
        if vessel.material == "glass" and body.act in _PRESSES:
            found.append(
                f"{vessel.id} is of glass, and glass bursts under pressure: shut the gas, vent it, and keep away until "
                "it is open"
            )
        stamped, pressure = vessel.max_pressure_kpa, body.pressure_kpa
        if stamped is not None and pressure is not None and pressure > stamped:
            found.append(f"{pressure:g} kPa is more than the {stamped:g} kPa that are stamped on {vessel.id}: vent it")
    return tuple(found)


def drift_warnings(quantity: str, unit: str, moves: Iterable[tuple[float, float]]) -> tuple[str, ...]:
    """That a calibration moves a probe further than a sound instrument drifts.

    moves: (measured, what it counts as from now on) of each point, in the quantity's unit.
    """
    most = _DRIFT.get(quantity, math.inf)
    return tuple(
        f"that moves {before:.4g} {unit} by {after - before:+.3g} {unit}, where a sound instrument drifts by {most:g} "
        "at most: was it in the buffer, or the vessel open?"
        for before, after in moves
        if abs(after - before) > most
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
    if isinstance(body, TitrationBody):
        # One that was worked out here has its own warning, which also says where to look.
        most = MOST_SO2_MG_L[So2Quantity(body.quantity)]
        if body.method != "elsewhere" or (body.so2_mg_l or 0.0) <= most:
            return ()
        return (f"{body.so2_mg_l:g} mg/L of {body.quantity} SO2 is more than {most:g}: look again",)
    if not isinstance(body, MeasurementBody) or body.quantity not in _USUAL:
        return ()
    low, high = _USUAL[body.quantity]
    if low <= body.value <= high:
        return ()
    said = f"{body.quantity} {body.value:g} {MEASURED_UNITS[body.quantity]}".rstrip()
    return (f"{said} is not of wine, which has {low:g} to {high:g}: look again",)


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
