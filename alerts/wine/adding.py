"""How a dose is added, and what to be careful of, in words; docs/chemistry.md has the sources."""

from __future__ import annotations

__all__ = ["CAUTIONS", "HOW_TO_ADD", "HOW_TO_ADD_STOCK", "OPENING_A_KEG"]

from typing import Final

HOW_TO_ADD: Final = (
    "weigh the salt, dissolve it in a little water or wine, add it below the surface, and stir gently or bubble inert "
    "gas through: an unmixed vessel stays layered for days",
    "close the vessel, and titrate after a day: only then is it known what stayed free",
)
HOW_TO_ADD_STOCK: Final = (
    "swirl the bottle, pipette the stock solution below the surface of the wine, never by mouth, and stir gently or "
    "bubble inert gas through: an unmixed vessel stays layered for days",
    HOW_TO_ADD[1],
)
OPENING_A_KEG: Final = (
    "let the pressure off before you open a keg, stand clear of the gas, which carries SO2, and air the room: too "
    "little oxygen cannot be felt, seen or smelt"
)
CAUTIONS: Final = (
    "sulfite dust and SO2 can set off asthma: work in fresh air, with goggles, and if you have asthma let somebody "
    "else do it",
    "never put acid on metabisulfite or on its concentrated solution, nor keep them together: it sets free toxic gas",
)
