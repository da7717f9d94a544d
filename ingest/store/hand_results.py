"""Numbers that people found: titrations and measurements of a vessel, or of a lot wherever it lay."""

from __future__ import annotations

__all__ = ["MOSTLY", "HandResult", "hand_results"]

from collections.abc import Callable
from typing import Any, Final, NamedTuple

from ingest.journal.contents import Stay
from ingest.store.connection import Store
from ingest.store.contents import equipment_of, lot_stays

# What is found in a vessel speaks for a lot that makes up at least this part of its wine.
MOSTLY: Final = 0.5


class HandResult(NamedTuple):
    """One number.

    entry: the journal entry's id; at_ms: when it was found (UTC ms); value and u (standard uncertainty, None if nobody
    told it): in the quantity's unit; vessel, lot: what the entry names; struck: the entry was crossed out.
    """

    entry: int
    quantity: str
    at_ms: int
    value: float
    u: float | None
    vessel: str | None
    lot: str | None
    struck: bool


def hand_results(
    store: Store,
    quantity: str,
    *,
    lot: str | None = None,
    vessel: str | None = None,
    from_ms: int | None = None,
    to_ms: int | None = None,
    struck: bool = False,
) -> list[HandResult]:
    """What was found of a quantity (free_so2, total_so2, pH, temperature, ...), in the order in which it was found.

    lot: that the entry names, or that made up most of the wine where it was found; vessel: also under a former name;
    from_ms, to_ms: from and before (UTC ms); struck: struck ones as well.
    """
    with store.read() as connection:
        equipment = equipment_of(connection)
        stays = None if lot is None else lot_stays(connection, equipment, lot)
        rows = connection.execute(
            "SELECT result.entry, quantity, result.at_ms, value, u, result.vessel, result.lot, strike.id IS NOT NULL,"
            " written_ms FROM result JOIN entry ON entry.id = result.entry"
            " LEFT JOIN strike ON strike.entry = result.entry"
            " WHERE quantity = ? AND result.at_ms >= ? AND result.at_ms < ? AND (? OR strike.id IS NULL)"
            " ORDER BY result.at_ms, result.entry",
            (quantity, 0 if from_ms is None else from_ms, 2**62 if to_ms is None else to_ms, struck),
        ).fetchall()
    found = [_result(row, equipment.name_now) for row in rows]
    if vessel is not None:
        found = [one for one in found if one.vessel == vessel]
    if stays is not None:
        found = [one for one in found if one.lot == lot or (one.lot is None and _mostly(stays, one))]
    return found


def _result(row: tuple[Any, ...], name_now: Callable[[str, int], str]) -> HandResult:
    entry, quantity, at_ms, value, u, vessel, lot, struck, written_ms = row
    found = HandResult(entry, quantity, at_ms, value, u, vessel, lot, bool(struck))
    return found if found.vessel is None else found._replace(vessel=name_now(found.vessel, written_ms))


def _mostly(stays: list[Stay], found: HandResult) -> bool:
    return any(
        stay.vessel == found.vessel
        and stay.from_ms <= found.at_ms
        and (stay.to_ms is None or found.at_ms < stay.to_ms)
        and (stay.share or 0.0) >= MOSTLY
        for stay in stays
    )
