"""Limits that the journal quiets: on wine while a vessel is empty, on its gas while it is racked, on low SO2 while
malolactic fermentation is awaited. And *care* on the gauge, while the compensated pressure says better whether gas is
missing.

This is suppression by design (IEC 62682), not shelving: it follows from what stands in the journal, and ends with it.
Overpressure, bad measurement and silence never are: an empty keg bursts as well, and a filling may not have been
written down yet.
"""

from __future__ import annotations

__all__ = [
    "COMPENSATED_NOTE",
    "EMPTY_NOTE",
    "MALOLACTIC_NOTE",
    "RACKING_NOTE",
    "JournalSuppression",
    "says_nothing_when_empty",
]

from collections.abc import Iterable, Mapping
from typing import Final

from ingest.cellar import JUDGED_QUANTITIES, EffectiveLimit

EMPTY_NOTE: Final = "the vessel is empty"
RACKING_NOTE: Final = "a racking is under way"
MALOLACTIC_NOTE: Final = "malolactic fermentation is wanted or under way, so SO2 is kept low"
COMPENSATED_NOTE: Final = "the compensated pressure is judged instead"

# Loss of gas is to be expected while a vessel is open: (quantity, kind) of the limits that say so.
_ON_LOST_GAS: Final = frozenset(
    {
        ("pressure", "low"),
        ("pressure", "rate"),
        ("compensated_pressure", "low"),
        ("leak_rate", "high"),
        ("hours_to_air_floor", "low"),
        ("hours_to_air_floor_by_cold", "low"),
    }
)
_ON_LOW_SO2: Final = frozenset({("molecular_so2", "low"), ("free_so2", "low")})

_OF_WINE: Final = frozenset(
    {"temperature", "pH", *(name for name, row in JUDGED_QUANTITIES.items() if row.of == "wine")}
)


def says_nothing_when_empty(limit: EffectiveLimit) -> bool:
    """Whether a limit is on gas that is lost, or on wine, and so on nothing in an empty vessel."""
    of_wine = limit.quantity in _OF_WINE and limit.kind != "no data"
    return of_wine or (limit.quantity, limit.kind) in _ON_LOST_GAS


class JournalSuppression:
    """The limits of each place that the journal can quiet."""

    def __init__(self, limits: Mapping[str, EffectiveLimit]) -> None:
        self._on_gas: dict[str, list[str]] = {}
        self._on_wine: dict[str, list[str]] = {}
        self._on_low_so2: dict[str, list[str]] = {}
        self._care: dict[str, list[str]] = {}
        compensated = {limit.at for limit in limits.values() if limit.quantity == "compensated_pressure"}
        for key, limit in limits.items():
            lost_gas = (limit.quantity, limit.kind) in _ON_LOST_GAS
            if lost_gas:
                self._on_gas.setdefault(limit.at, []).append(key)
            if says_nothing_when_empty(limit):
                self._on_wine.setdefault(limit.at, []).append(key)
            if (limit.quantity, limit.kind) in _ON_LOW_SO2:
                self._on_low_so2.setdefault(limit.at, []).append(key)
            if limit.quantity == "pressure" and limit.role == "care" and limit.at in compensated:
                self._care.setdefault(limit.at, []).append(key)

    def keys(
        self,
        empty: Iterable[str],
        racked: Iterable[str],
        malolactic: Iterable[str] = (),
        compensated: Iterable[str] = (),
    ) -> dict[str, str]:
        """The keys of the limits that say nothing now, each with the reason.

        empty: the vessels that are known to be empty; racked: those of which a racking is under way; malolactic: those
        whose wine awaits malolactic fermentation; compensated: those whose compensated pressure is known now.
        """
        quiet = {key: COMPENSATED_NOTE for vessel in compensated for key in self._care.get(vessel, ())}
        quiet |= {key: MALOLACTIC_NOTE for vessel in malolactic for key in self._on_low_so2.get(vessel, ())}
        quiet |= {key: RACKING_NOTE for vessel in racked for key in self._on_gas.get(vessel, ())}
        quiet.update((key, EMPTY_NOTE) for vessel in empty for key in self._on_wine.get(vessel, ()))
        return quiet
