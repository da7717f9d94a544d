"""How a dose is added, and what to be careful of, in words; docs/chemistry.md has the sources."""

from __future__ import annotations

__all__ = ["CAUTIONS", "HOW_TO_ADD"]

from typing import Final

HOW_TO_ADD: Final = (
    "weigh the salt, dissolve it in a little water or wine, add it below the surface, and stir gently or bubble inert "
    "gas through: an unmixed vessel stays layered for days",
    "close the vessel, and titrate after a day: only then is it known what stayed free",
)
CAUTIONS: Final = (
    "sulfite dust and SO2 can set off asthma: work in fresh air, with goggles, and if you have asthma let somebody "
    "else do it",
    "never put acid on metabisulfite or on its concentrated solution, nor keep them together: it sets free toxic gas",
)
