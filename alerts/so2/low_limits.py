"""The low limits on SO2 that apply to wines: those that are watched, by the cellar file or by default."""

from __future__ import annotations

__all__ = ["LowLimit", "low_limits"]

from collections.abc import Mapping
from typing import Final, Literal, NamedTuple

from alerts.so2.limits import so2_limits
from ingest.cellar import Cellar, WinePlaces
from ingest.journal.said_of_wine import SaidOfWine

LimitedQuantity = Literal["molecular_so2", "free_so2"]

_QUANTITIES: Final[tuple[LimitedQuantity, ...]] = ("molecular_so2", "free_so2")


class LowLimit(NamedTuple):
    """A low limit on molecular or free SO2 [mg/L]. key: of the limit in the cellar file, "" for a default one."""

    quantity: LimitedQuantity
    low_mg_l: float
    key: str = ""


def low_limits(cellar: Cellar, said: Mapping[str, SaidOfWine], wine: WinePlaces) -> dict[str, list[LowLimit]]:
    """List what applies in each of these vessels, of several on one quantity the highest.

    said: what the journal says of the wine in each; wine: where lots lie. While malolactic is wanted or under way
    none applies: SO2 is not wanted then.
    """
    written = cellar.limits_with(wine)
    watched = [*written, *so2_limits(cellar, said, written).values()]
    found: dict[str, list[LowLimit]] = {}
    for vessel, of_wine in said.items():
        lows = [
            LowLimit(quantity, limit.setpoint, limit.key if limit.origin == "file" else "")
            for quantity in _QUANTITIES
            for limit in watched
            if (limit.at, limit.quantity, limit.kind) == (vessel, quantity, "low")
        ]
        highest = {limit.quantity: limit for limit in sorted(lows, key=lambda limit: limit.low_mg_l)}
        found[vessel] = [] if of_wine.awaits_malolactic else list(highest.values())
    return found
