"""What a vessel holds at a time, as the ledger gives it to others."""

from __future__ import annotations

__all__ = ["Contents", "LotShare"]

from dataclasses import dataclass
from typing import NamedTuple

from ingest.journal.wine import So2Value, lot_words


class LotShare(NamedTuple):
    """A lot and its part of the wine, of 1. lot None: wine of no lot of this cellar; share None: not known; is_bought:
    whether all of that wine of no lot was bought.
    """

    lot: str | None
    share: float | None
    is_bought: bool = False

    @property
    def words(self) -> str:
        """What people call it."""
        return lot_words(self.lot, is_bought=self.is_bought)


@dataclass(frozen=True, slots=True)
class Contents:
    """What a vessel holds at a time.

    known: False while the journal never said; then the vessel counts as in use, and all else is None. volume_l: 0 if it
    is empty, None if nobody knows; u_volume_l: standard uncertainty; headspace_l: capacity less volume; since_ms: when
    this wine came in, or the vessel became empty. Times are UTC ms. free_so2, total_so2: as found last, or by the mass
    balance of what was blended since; past_free_so2, past_total_so2: what was known before a dose or a blend of which
    nobody knows what it made.
    """

    vessel: str
    known: bool
    lots: tuple[LotShare, ...] = ()
    volume_l: float | None = None
    u_volume_l: float | None = None
    capacity_l: float | None = None
    headspace_l: float | None = None
    since_ms: int | None = None
    last_racking_ms: int | None = None
    last_topping_ms: int | None = None
    alcohol_percent_vol: float | None = None
    sugar_g_l: float | None = None
    style: str | None = None
    free_so2: So2Value | None = None
    total_so2: So2Value | None = None
    past_free_so2: So2Value | None = None
    past_total_so2: So2Value | None = None
    out_of_use: bool = False

    @property
    def empty(self) -> bool:
        """Whether it is known to be empty."""
        return self.known and self.volume_l == 0.0
