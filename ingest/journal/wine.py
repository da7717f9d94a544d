"""Wine as what it is made of, and what streams of it make together: mixing by volume. Pure.

Volumes are liters, shares are parts of 1, uncertainties are standard ones and combined as independent. Where a volume
is not known it stays None, and so does every number that would need it.
"""

from __future__ import annotations

__all__ = ["STRANGE", "So2Value", "Wine", "lot_words", "mix", "root", "sum_known"]

import math
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple


class So2Value(NamedTuple):
    """A concentration [mg/L] and its standard uncertainty [mg/L, None if unknown].

    at_ms: when it was found, of a blend the oldest; mixed: worked out from what was blended or added, not found in this
    vessel.
    """

    mg_l: float
    u_mg_l: float | None
    at_ms: int
    mixed: bool = False


class Wine(NamedTuple):
    """What wine it is.

    parts: lot and share, by lot; lot None is wine of no lot of this cellar (bought, or from a vessel of unknown
    contents); share None is not known. free, total: SO2 as last found. alcohol: measured [% vol]; foreign_alcohol:
    that of the part without a lot; foreign_is_bought: whether all of that part was bought. past_free, past_total: what
    was known of the wine, or of the most of it, before a dose or a blend of which nobody knows what it made; None while
    free or total is known.
    """

    parts: tuple[tuple[str | None, float | None], ...] = ()
    free: So2Value | None = None
    total: So2Value | None = None
    alcohol: float | None = None
    foreign_alcohol: float | None = None
    foreign_is_bought: bool = False
    past_free: So2Value | None = None
    past_total: So2Value | None = None

    @property
    def last_free(self) -> So2Value | None:
        """Free SO2 as it was known last, also where that is past."""
        return self.free or self.past_free

    @property
    def last_total(self) -> So2Value | None:
        """The same of total SO2."""
        return self.total or self.past_total


# Wine of which nobody knows what it is.
STRANGE: Final = Wine(((None, 1.0),))


def lot_words(lot: str | None, *, is_bought: bool) -> str:
    """Name a lot; of wine of no lot of this cellar, say what is known of it."""
    return lot or ("bought wine" if is_bought else "wine not entered yet")


def mix(streams: Sequence[tuple[float | None, Wine]]) -> Wine:
    """Mix streams, each a volume [L, None if unknown] and its wine.

    Concentrations mix by volume, c = sum(V_i c_i) / sum(V_i), and only where every stream's is known. No reaction
    between the wines is reckoned with; free SO2 may in truth bind further after a blend.
    """
    streams = [(volume, wine) for volume, wine in streams if volume is None or volume > 0.0]
    if len(streams) == 1:
        return streams[0][1]
    lots = sorted({lot for _, wine in streams for lot, _ in wine.parts}, key=lambda lot: (lot is None, lot or ""))
    volumes = [volume for volume, _ in streams if volume is not None]
    whole = math.fsum(volumes)
    if len(volumes) < len(streams) or whole <= 0.0:
        return Wine(
            _without_shares(lots),
            foreign_is_bought=_foreign_is_bought([wine for _, wine in streams]),
            past_free=_past([(volume or 0.0, wine.last_free) for volume, wine in streams]),
            past_total=_past([(volume or 0.0, wine.last_total) for volume, wine in streams]),
        )
    weighted = [(volume / whole, wine) for volume, (_, wine) in zip(volumes, streams, strict=True)]
    parts = [(lot, sum_known(_share_of(lot, weight, wine) for weight, wine in weighted)) for lot in lots]
    free, total = (
        _mixed([(weight, wine.free) for weight, wine in weighted]),
        _mixed([(weight, wine.total) for weight, wine in weighted]),
    )
    return Wine(
        tuple(parts) if all(share is not None for _, share in parts) else _without_shares(lots),
        free,
        total,
        sum_known(None if wine.alcohol is None else weight * wine.alcohol for weight, wine in weighted),
        _foreign_alcohol(weighted),
        _foreign_is_bought([wine for _, wine in streams]),
        None if free is not None else _past([(weight, wine.last_free) for weight, wine in weighted]),
        None if total is not None else _past([(weight, wine.last_total) for weight, wine in weighted]),
    )


def sum_known(numbers: Iterable[float | None]) -> float | None:
    """Add numbers; None if one is unknown."""
    total = 0.0
    for number in numbers:
        if number is None:
            return None
        total += number
    return total


def root(*u: float | None) -> float | None:
    """Combine independent standard uncertainties; None if one is unknown."""
    squares = 0.0
    for part in u:
        if part is None:
            return None
        squares += part * part
    return math.sqrt(squares)


def _without_shares(lots: Sequence[str | None]) -> tuple[tuple[str | None, float | None], ...]:
    return tuple((lot, 1.0 if len(lots) == 1 else None) for lot in lots)


def _share_of(lot: str | None, weight: float, wine: Wine) -> float | None:
    for each, share in wine.parts:
        if each == lot:
            return None if share is None else weight * share
    return 0.0


def _mixed(streams: Sequence[tuple[float, So2Value | None]]) -> So2Value | None:
    value, oldest, weighted_u = 0.0, None, []
    for weight, so2 in streams:
        if so2 is None:
            return None
        value += weight * so2.mg_l
        weighted_u.append(None if so2.u_mg_l is None else weight * so2.u_mg_l)
        oldest = so2.at_ms if oldest is None else min(oldest, so2.at_ms)
    return None if oldest is None else So2Value(value, root(*weighted_u), oldest, True)


def _past(streams: Sequence[tuple[float, So2Value | None]]) -> So2Value | None:
    """What was known of the largest stream of which anything was."""
    known = [(weight, so2) for weight, so2 in streams if so2 is not None]
    return max(known, key=lambda each: each[0])[1] if known else None


def _foreign_is_bought(wines: Sequence[Wine]) -> bool:
    foreign = [wine for wine in wines if any(lot is None for lot, _ in wine.parts)]
    return bool(foreign) and all(wine.foreign_is_bought for wine in foreign)


def _foreign_alcohol(weighted: Sequence[tuple[float, Wine]]) -> float | None:
    foreign, alcohol = 0.0, 0.0
    for weight, wine in weighted:
        share = _share_of(None, weight, wine)
        if share is None or (share > 0.0 and wine.foreign_alcohol is None):
            return None
        foreign += share
        alcohol += share * (wine.foreign_alcohol or 0.0)
    return alcohol / foreign if foreign > 0.0 else None
