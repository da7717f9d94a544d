"""The units in which people give amounts at the bench and in the cellar, out of all that are understood. Pure."""

from __future__ import annotations

__all__ = ["bench_units"]

from collections.abc import Mapping
from typing import Final

from ingest.cellar import Dimension

_USUAL: Final[Mapping[Dimension, tuple[str, ...]]] = {
    Dimension.VOLUME: ("mL", "L", "hL", "gal"),
    Dimension.MASS: ("mg", "g", "kg", "oz", "lb"),
    Dimension.TIME: ("s", "min"),
    Dimension.PRESSURE: ("kPa", "mbar", "bar", "psi"),
    Dimension.TEMPERATURE: ("°C", "°F"),
    Dimension.TEMPERATURE_DIFFERENCE: ("°C", "°F"),
    Dimension.LENGTH: ("mm", "cm"),
    Dimension.CONCENTRATION: ("mg/L", "g/L"),
    Dimension.ALCOHOL: ("% vol",),
}


def bench_units(dimension: Dimension, first: str) -> tuple[str, ...]:
    """List units of a dimension to choose from, the most likely one first; () where a number needs none.

    first: the most likely one, "" for none.
    """
    usual = _USUAL.get(dimension, ())
    return (first, *(unit for unit in usual if unit != first)) if first else usual
