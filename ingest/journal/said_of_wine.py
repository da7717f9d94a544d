"""What the journal says of the wine in a vessel, as far as limits on SO2 depend on it. Pure."""

from __future__ import annotations

__all__ = ["SaidOfWine", "said_of_wines"]

from typing import Final, NamedTuple

from ingest.journal.awaited_work import main_lot
from ingest.journal.ledger import Ledger

# While it is wanted SO2 is kept low: it hinders the bacteria.
_MALOLACTIC: Final = frozenset({"wanted", "under way"})


class SaidOfWine(NamedTuple):
    """lot: the one that is most of the wine, "" where that is unknown; style, sugar_g_l: of all of it; malolactic: of
    its lot. None: not known.
    """

    lot: str = ""
    style: str | None = None
    sugar_g_l: float | None = None
    malolactic: str | None = None

    @property
    def awaits_malolactic(self) -> bool:
        """Whether malolactic fermentation is wanted or under way, so that SO2 is not."""
        return self.malolactic in _MALOLACTIC


def said_of_wines(ledger: Ledger, at_ms: int) -> dict[str, SaidOfWine]:
    """Gather what is said of the wine in each vessel that is known to hold some, and is in use, at a time (UTC ms)."""
    said = {}
    for vessel, state in ledger.states_at(at_ms).items():
        if not state.known or state.empty or state.out_of_use:
            continue
        contents = ledger.contents_of(vessel, state, at_ms)
        lot = main_lot(state)
        of_lot = ledger.lots.of(lot, at_ms) if lot else None
        malolactic = None if of_lot is None else of_lot.malolactic
        said[vessel] = SaidOfWine(lot, contents.style, contents.sugar_g_l, malolactic)
    return said
