"""A racking of a made-up wine, and its review, for tests."""

from __future__ import annotations

__all__ = ["CARBON_DIOXIDE", "DAY", "N2", "NITROGEN", "NOW", "carboy", "facts", "keg", "review", "section"]

from typing import Any

from alerts.gas.gases import GASES
from alerts.gas.stock import GasStock, RoomGas
from alerts.review.racking_facts import RackingFacts, RackingVessel, RackingWish
from alerts.review.racking_gas import racking_gas
from alerts.review.section import Review, ReviewSection

NOW = 1_795_631_400_000
DAY = 86_400_000
NITROGEN, _, CARBON_DIOXIDE = GASES.values()
N2 = GasStock("N2", NITROGEN, 1400.0, 1300.0, "pressure", NOW)


def keg(id: str, **changes: Any) -> RackingVessel:
    usual: dict[str, Any] = {"kind": "keg", "capacity_l": 19.5, "stamp_kpa": 200.0, "gas": "nitrogen", "room": "cellar"}
    return RackingVessel(id=id, **{**usual, "wine_l": 0.0, **changes})


def carboy(id: str, **changes: Any) -> RackingVessel:
    usual: dict[str, Any] = {"kind": "carboy", "capacity_l": 23.0, "material": "glass", "room": "cellar"}
    return RackingVessel(id=id, **{**usual, "wine_l": 0.0, **changes})


def facts(**changes: Any) -> RackingFacts:
    usual: dict[str, Any] = {
        "at_ms": NOW,
        "source": keg("K1", wine_l=18.0, temperature_c=15.0),
        "receiver": keg("K2"),
        "cylinders": (N2,),
        "rooms": (RoomGas("cellar", 30.0, (N2,)),),
    }
    return RackingFacts(**{**usual, **changes})


def review(*, wish: RackingWish | None = None, **changes: Any) -> Review:
    return racking_gas(facts(**changes), wish or RackingWish(), "cellar.toml")


def section(name: str, *, wish: RackingWish | None = None, **changes: Any) -> ReviewSection:
    return next(each for each in review(wish=wish, **changes).sections if each.name == name)
