"""Work that somebody may have to do: when it was done last, or since when it is awaited. Pure shapes."""

from __future__ import annotations

__all__ = ["AwaitedWork", "main_lot"]

from typing import NamedTuple

from ingest.journal.vessel_state import VesselState


class AwaitedWork(NamedTuple):
    """A work on one vessel's wine, one vessel, one probe or one sort of titrant.

    work: as in ``ingest.cellar.DUE_WORK``; place: the vessel or the probe's place, "" for a titrant; lot: whose wine it
    is, "" where that is unknown; name: the probe's id or the bottle's name, else ""; sort: the vessel's kind,
    ``NEVER_MEASURED``, the probe's quantity or the titrant's substance; from_ms: when it was done last, or else since
    when it is awaited (UTC ms); is_done: which of the two.
    """

    work: str
    place: str
    sort: str
    from_ms: int
    is_done: bool
    lot: str = ""
    name: str = ""


def main_lot(state: VesselState) -> str:
    """Find the lot with the largest known share of the wine in a vessel, the first of equal ones; "" if there is none.

    A single lot counts whatever its share; so a blend of unknown shares has the lot that came first.
    """
    lots = [(share or 0.0, -number, lot) for number, (lot, share) in enumerate(state.wine.parts) if lot is not None]
    return max(lots)[2] if lots else ""
