"""Limits that say nothing while a vessel is empty: low pressure and temperature are about the wine in it.

Overpressure, bad measurement and silence are not: an empty keg bursts as well, and nobody knows it is empty for ever.
"""

from __future__ import annotations

__all__ = ["EMPTY_NOTE", "limits_on_wine", "pointless"]

from collections.abc import Iterable, Mapping
from typing import Final

from alerts.watch.limit import EffectiveLimit

EMPTY_NOTE: Final = "the vessel is empty"


def limits_on_wine(limits: Mapping[str, EffectiveLimit]) -> dict[str, frozenset[str]]:
    """Place to the keys of its limits that say nothing while it is empty."""
    found: dict[str, set[str]] = {}
    for key, limit in limits.items():
        low_pressure = limit.quantity == "pressure" and limit.kind == "low"
        temperature = limit.quantity == "temperature" and limit.kind != "no data"
        if low_pressure or temperature:
            found.setdefault(limit.at, set()).add(key)
    return {place: frozenset(keys) for place, keys in found.items()}


def pointless(of_place: Mapping[str, frozenset[str]], empty: Iterable[str]) -> frozenset[str]:
    """The keys of ``limits_on_wine`` that say nothing now; empty: the vessels that are known to be empty."""
    return frozenset().union(*(of_place.get(vessel, frozenset()) for vessel in empty))
