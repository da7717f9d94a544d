"""The low limits on SO2 that apply to a wine: those of the cellar file, else what a wine of its style should have."""

from __future__ import annotations

__all__ = ["LowLimit", "low_limits"]

from collections.abc import Collection
from typing import Final, Literal, NamedTuple

from alerts.wine.targets import style_target
from ingest.cellar import LimitSettings
from ingest.journal.titration import Style

LimitedQuantity = Literal["molecular_so2", "free_so2"]

_QUANTITIES: Final[tuple[LimitedQuantity, ...]] = ("molecular_so2", "free_so2")


class LowLimit(NamedTuple):
    """A low limit on molecular or free SO2 [mg/L]. id: of the limit in the cellar file, "" without one."""

    quantity: LimitedQuantity
    low_mg_l: float
    id: str = ""


def low_limits(
    settings: Collection[LimitSettings], vessel: str, lots: Collection[str], style: str | None, malolactic: str | None
) -> list[LowLimit]:
    """List what applies to the wine of these lots in a vessel; style, malolactic: as the journal says, None if unknown.

    A limit of the file on either quantity replaces that of the style. While malolactic is wanted or under way there is
    no limit: SO2 is not wanted then.
    """
    if malolactic in ("wanted", "under way"):
        return []
    written = [
        LowLimit(quantity, setting.low, setting.id or "")
        for quantity in _QUANTITIES
        for setting in settings
        if setting.quantity == quantity
        and setting.low is not None
        and (setting.at == vessel or setting.lot == "any" or setting.lot in lots)
    ]
    if written:
        return [
            max(same, key=lambda limit: limit.low_mg_l)
            for quantity in _QUANTITIES
            if (same := [limit for limit in written if limit.quantity == quantity])
        ]
    return [LowLimit("molecular_so2", style_target(None if style is None else Style(style)).molecular_low_mg_l)]
