"""Must weight in the scales of the trade, and the density that they stand for. Pure.

    Oe = 1000 (d - 1)                                          d: relative density 20 °C/20 °C of the must
    Oe = KMW (0.022 KMW + 4.54)                                KMW: Klosterneuburger Mostwaage [g sugar/100 g must]
    d  = 1 + B / (258.6 - 0.8796 B)                            B: degrees Brix [g sucrose/100 g]

The first is the definition of the Oechsle scale. The second is the usual conversion of the Austrian scale (from
memory). The third is the usual approximation to the sucrose table of NBS Circular C440 (from memory); from 0 to 35 °Bx
it is within 0.0003 of that table.

Worked example: 85 °Oe is a relative density of 1.085, 17.3 °KMW and 20.5 °Bx.
"""

from __future__ import annotations

__all__ = ["SCALES", "brix", "kmw", "oechsle"]

import math
from collections.abc import Callable, Mapping
from typing import Final

_KMW_SQUARE: Final = 0.022
_KMW_LINEAR: Final = 4.54
_BRIX_TOP: Final = 258.6
_BRIX_SLOPE: Final = 0.8796


def _of_kmw(number: float) -> float:
    return number * (_KMW_SQUARE * number + _KMW_LINEAR)


def _of_brix(number: float) -> float:
    return 1000.0 * number / (_BRIX_TOP - _BRIX_SLOPE * number)


SCALES: Final[Mapping[str, Callable[[float], float]]] = {
    "°Oe": lambda number: number,
    "Oe": lambda number: number,
    "°Oechsle": lambda number: number,
    "Oechsle": lambda number: number,
    "°KMW": _of_kmw,
    "KMW": _of_kmw,
    "°Bx": _of_brix,
    "Bx": _of_brix,
    "°Brix": _of_brix,
    "Brix": _of_brix,
}
"""What may stand behind a must weight, and how its number becomes degrees Oechsle."""


def oechsle(number: float, scale: str) -> float:
    """Convert a must weight to degrees Oechsle, from 0 to 250. Raises ValueError for another scale or number."""
    by_name = {name.lower(): convert for name, convert in SCALES.items()}
    convert = by_name.get(scale.lower())
    if convert is None:
        raise ValueError("write °Oe, °KMW or °Brix behind the number")
    degrees = convert(number) if 0.0 <= number <= 250.0 else math.nan
    if not 0.0 <= degrees <= 250.0:
        raise ValueError("no must has this weight; allowed are 0 to 250 °Oe")
    return degrees


def kmw(degrees_oechsle: float) -> float:
    """Convert degrees Oechsle to KMW [g/100 g]."""
    root = math.sqrt(_KMW_LINEAR**2 + 4.0 * _KMW_SQUARE * degrees_oechsle)
    return (root - _KMW_LINEAR) / (2.0 * _KMW_SQUARE)


def brix(degrees_oechsle: float) -> float:
    """Convert degrees Oechsle to degrees Brix [g sucrose/100 g]."""
    return _BRIX_TOP * degrees_oechsle / (1000.0 + _BRIX_SLOPE * degrees_oechsle)
