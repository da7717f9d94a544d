"""How much SO2 a wine should have: molecular targets by style and stage, and what is too much for the nose.

All molecular targets are those of the trade, by the simple model with pK 1.81 (``TRADE_PK``): never to be compared with
a number by another model.
"""

from __future__ import annotations

__all__ = [
    "LACTIC_HINDERED_FREE_MG_L",
    "SENSORY_MOLECULAR_MG_L",
    "SENSORY_TOTAL_MG_L",
    "Stage",
    "StyleTarget",
    "most_free_mg_l",
    "style_target",
]

from collections.abc import Mapping
from enum import StrEnum
from typing import Final, NamedTuple

from alerts.wine.molecular import TRADE_PK, Pk
from ingest.journal.titration import Style

# Molecular SO2 that is smelled [mg/L] (Waterhouse, Sacks and Jeffery, Understanding Wine Chemistry, ch. 17).
SENSORY_MOLECULAR_MG_L: Final = 2.0
# Total SO2 from which table wine tastes of it [mg/L] (Practical Winery & Vineyard, January 2009).
SENSORY_TOTAL_MG_L: Final = 110.0
# Free SO2 above which wine is said to smell of it [mg/L] (recap of a talk at UC Davis; an extension sheet). Sweet wine
# hides more: Bordeaux practice keeps sweet white at 80 to 100 (a French-language practice page).
_MOST_FREE_MG_L: Final = 50.0
_MOST_FREE_SWEET_MG_L: Final = 100.0
# Free or bound SO2 that hinders lactic bacteria [mg/L] (Winemakers Research Exchange).
LACTIC_HINDERED_FREE_MG_L: Final = 10.0


class Stage(StrEnum):
    """What the wine is about to do."""

    BULK = "bulk"
    BOTTLING = "bottling"


class StyleTarget(NamedTuple):
    """What a wine should have: molecular SO2 from low to high [mg/L, by ``pk``], and free SO2 not below [mg/L].

    source: where the numbers are from.
    """

    molecular_low_mg_l: float
    molecular_high_mg_l: float
    free_low_mg_l: float
    source: str
    pk: Pk = TRADE_PK


_PWV: Final = "Practical Winery & Vineyard, January/February 2009"
_GUILD: Final = "free SO2: Central Texas Wine Guild"
_WHITE_BULK: Final = StyleTarget(0.5, 0.8, 20.0, f"{_PWV}; {_GUILD}")
_WHITE_BOTTLING: Final = StyleTarget(0.7, 0.8, 20.0, f"{_PWV}: 0.8, 0.7 under a screw cap; {_GUILD}")
_GENERAL: Final = StyleTarget(0.5, 0.8, 20.0, "molecular: Cornell extension; free: Waterhouse, Sacks and Jeffery")
_TARGETS: Final[Mapping[tuple[Style | None, Stage], StyleTarget]] = {
    (None, Stage.BULK): _GENERAL,
    (None, Stage.BOTTLING): _GENERAL,
    (Style.WHITE, Stage.BULK): _WHITE_BULK,
    (Style.WHITE, Stage.BOTTLING): _WHITE_BOTTLING,
    (Style.ROSE, Stage.BULK): _WHITE_BULK,
    (Style.ROSE, Stage.BOTTLING): _WHITE_BOTTLING,
    (Style.RED, Stage.BULK): StyleTarget(
        0.4, 0.6, 10.0, f"a laboratory handout after University of California 1982, after malolactic; {_GUILD}"
    ),
    (Style.RED, Stage.BOTTLING): StyleTarget(
        0.4, 0.6, 10.0, f"the same handout; an online winemaking text, ch. 18, has 0.5; {_GUILD}"
    ),
    (Style.SWEET, Stage.BULK): StyleTarget(0.8, 1.5, 40.0, "Bordeaux practice for sweet white"),
    (Style.SWEET, Stage.BOTTLING): StyleTarget(0.8, 1.5, 40.0, "Bordeaux practice for sweet white"),
}


def style_target(style: Style | None, stage: Stage = Stage.BULK) -> StyleTarget:
    """Give what a wine of a style should have, after malolactic; style None: any wine.

    Before and during a malolactic that is wanted no SO2 is: it hinders the bacteria.
    """
    return _TARGETS[style, stage]


def most_free_mg_l(style: Style | None) -> float:
    """Give the free SO2 above which a wine is said to smell of it [mg/L]."""
    return _MOST_FREE_SWEET_MG_L if style is Style.SWEET else _MOST_FREE_MG_L
