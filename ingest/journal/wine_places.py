"""Where wine lies, for limits that go with it. Pure."""

from __future__ import annotations

__all__ = ["LEAST_SHARE", "wine_places"]

from collections.abc import Mapping
from typing import Final

from ingest.cellar import WinePlaces
from ingest.journal.vessel_state import VesselState

# A lot that is less of a vessel's wine than this was only topped up from. This project's choice.
LEAST_SHARE: Final = 0.1


def wine_places(states: Mapping[str, VesselState]) -> WinePlaces:
    """Say where wine lies by what vessels hold; a lot counts from a tenth of the wine on, or if its part is unknown."""
    lots = {}
    for vessel, state in states.items():
        parts = () if state.empty else state.wine.parts
        named = frozenset(lot for lot, share in parts if lot is not None and (share is None or share >= LEAST_SHARE))
        if named:
            lots[vessel] = named
    return WinePlaces(lots, frozenset(vessel for vessel, state in states.items() if state.empty))
