"""docs/review.md: the review in it is what the arithmetic says."""

from __future__ import annotations

import re
from pathlib import Path
from zoneinfo import ZoneInfo

from alerts.gas.gases import GASES
from alerts.gas.stock import NewestNumber, RoomGas, cylinder_stock
from alerts.review import RackingFacts, RackingVessel, RackingWish, racking_gas, review_lines

PAGE = (Path(__file__).resolve().parent.parent / "docs" / "review.md").read_text(encoding="utf-8")
# 2026-11-28 10:00 in Ljubljana.
AT_MS = 1_795_856_400_000


def shown() -> str:
    """The sections of the page's example: C1 of glass into K2, with N2 at 12 MPa in a cellar of 30 m³ and 12 °C."""
    n2 = cylinder_stock("N2", GASES["nitrogen"], 10.0, pressure_kpa=NewestNumber(12_000.0, AT_MS), temperature_c=12.0)
    facts = RackingFacts(
        at_ms=AT_MS,
        source=RackingVessel(
            id="C1",
            kind="carboy",
            material="glass",
            capacity_l=23.0,
            room="cellar",
            wine_l=22.0,
            lots=("R25",),
            temperature_c=12.0,
        ),
        receiver=RackingVessel(
            id="K2", kind="keg", capacity_l=19.5, stamp_kpa=200.0, gas="nitrogen", room="cellar", wine_l=0.0
        ),
        cylinders=(n2,),
        rooms=(RoomGas("cellar", 30.0, (n2,)),),
        barometer_kpa=97.3,
        barometer_from="by the barometer",
    )
    lines = "\n".join(
        review_lines(racking_gas(facts, RackingWish(volume_l=18.5), "cellar.toml"), ZoneInfo("Europe/Ljubljana"))
    )
    return lines.partition("\n\nThe work, in order")[0]


def test_the_review_of_the_page() -> None:
    block = re.search(r"```text\n(Racking C1.*?)\n```", PAGE, re.DOTALL)
    assert block is not None
    # The page breaks long lines.
    assert block[1].split() == shown().split()
