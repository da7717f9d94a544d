"""A vessel as of a time: what it held, its probes, its SO2, and what was last done to it."""

from __future__ import annotations

__all__ = ["VesselCard", "known_vessels", "vessel_cards"]

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from alerts.blanket.details import BlanketShown, blanket_shown
from alerts.so2.vessel_so2 import VesselSo2, so2_inside
from alerts.so2.vessel_total import VesselTotal, totals_inside
from alerts.view.format import exact_time
from alerts.view.gas.blanket_lines import blanket_of
from alerts.view.status import ReadingStatus, readings_at
from ingest.cellar import Cellar
from ingest.journal.contents import Contents
from ingest.journal.open_rackings import OpenRacking
from ingest.journal.supply import Supply
from ingest.judgement import Judgement
from ingest.store import Store
from ingest.store.journal.begun_rackings import begun_rackings
from ingest.store.journal.stored_ledger import contents_inside, equipment_of
from ingest.store.journal.supply_entries import supplies_inside
from ingest.store.judgements import HOUR_MS, judgement_history, newest_judgements

_COMPENSATED: Final = "compensated_pressure"


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselCard:
    """A vessel as of a time [UTC ms]. so2: None where there is nothing to estimate, and why_no_so2 then says why;
    total_so2: None where it holds no wine; blanket: None where the gas in it was not judged; supply: of gas, None for a
    vessel that the cellar file no longer has.
    """

    id: str
    kind: str
    name: str
    at_ms: int
    contents: Contents
    open_rackings: tuple[OpenRacking, ...]
    readings: tuple[ReadingStatus, ...]
    so2: VesselSo2 | None
    total_so2: VesselTotal | None
    blanket: BlanketShown | None
    why_no_so2: str = ""
    supply: Supply | None = None


def known_vessels(cellar: Cellar, store: Store) -> list[str]:
    """List the vessels of the cellar file, then those that an earlier one had; call inside ``store.read()``."""
    now = [vessel.id for vessel in cellar.vessel]
    equipment = equipment_of(store.connection, cellar)
    renamed = {rename.old for rename in equipment.renames}
    former = {id for each in equipment.cellars for id in each.vessels} - {*now} - renamed
    return [*now, *sorted(former)]


def vessel_cards(cellar: Cellar, store: Store, at_ms: int, vessels: Collection[str]) -> list[VesselCard]:
    """Make the cards of these vessels, each of them known, in this order; call inside ``store.read()``."""
    contents = contents_inside(store.connection, at_ms, cellar)
    rackings = [racking for racking in begun_rackings(store.connection) if racking.at_ms <= at_ms]
    readings = readings_at(cellar, store, at_ms)
    so2 = so2_inside(cellar, store, at_ms, vessels)
    totals = totals_inside(cellar, store, at_ms, vessels)
    declared = {vessel.id: vessel for vessel in cellar.vessel}
    equipment = equipment_of(store.connection, cellar, at_ms)
    without_gas = {vessel.id for vessel in cellar.vessel if vessel.gas is None}
    blankets = _blankets(store, at_ms, vessels, without_gas)
    supplies = supplies_inside(store.connection, cellar, at_ms)
    cards = []
    for id in vessels:
        vessel, then = declared.get(id), equipment.vessel(id, at_ms)
        holds = contents.get(id, Contents(id, known=False))
        cards.append(
            VesselCard(
                id=id,
                kind=vessel.kind if vessel is not None else "" if then is None else then.kind,
                name="" if vessel is None else vessel.name or "",
                at_ms=at_ms,
                contents=holds,
                open_rackings=tuple(racking for racking in rackings if id in racking.vessels),
                readings=tuple(readings[probe.id] for probe in cellar.probes_at(id)),
                so2=so2.get(id),
                total_so2=totals.get(id),
                blanket=blankets.get(id),
                why_no_so2="" if id in so2 else _why_none(cellar, store, holds, at_ms),
                supply=supplies.get(id),
            )
        )
    return cards


def _blankets(
    store: Store, at_ms: int, vessels: Collection[str], without_gas: Collection[str]
) -> dict[str, BlanketShown]:
    """Read how the gas in each vessel was judged at a time (UTC ms): the newest whole, an earlier one in short.

    without_gas: vessels for which the cellar file names no gas.
    """
    newest = [judgement for judgement in newest_judgements(store) if judgement.name == _COMPENSATED]
    blankets = {}
    for vessel in vessels:
        shown = None
        latest = next((judgement for judgement in newest if judgement.place == vessel), None)
        if latest is not None and latest.at_ms <= at_ms:
            shown = blanket_of((latest,), at_ms)
        else:
            hours = judgement_history(store, (vessel,), _COMPENSATED, at_ms - HOUR_MS, at_ms)
            now = None if latest is None else blanket_shown(latest)
            none_now = now is None or now.without_blanket
            shown = _in_short(hours[-1], may_be_none=vessel in without_gas and none_now) if hours else None
        if shown is not None:
            blankets[vessel] = shown
    return blankets


def _in_short(hour: Judgement, *, may_be_none: bool) -> BlanketShown:
    """What the history of judgements keeps: finding, and compensated pressure with the range of two u.

    may_be_none: whether neither the cellar file nor the newest judgement knows of a blanket. Then none was kept if the
    history has no compensated pressure, or gas rose.
    """
    u_kpa = None if hour.low is None or hour.high is None else (hour.high - hour.low) / 4
    finding = hour.finding or "cannot tell yet"
    return BlanketShown(
        at_ms=hour.at_ms,
        finding=finding,
        compensated_kpa=hour.value,
        u_compensated_kpa=u_kpa,
        without_blanket=may_be_none and (hour.value is None or finding == "gas rising"),
    )


def _why_none(cellar: Cellar, store: Store, contents: Contents, at_ms: int) -> str:
    if contents.empty:
        return f"{contents.vessel} was empty then: there is no wine to estimate the SO2 of"
    row = store.connection.execute("SELECT min(at_ms) FROM entry").fetchone()
    if row[0] is None:
        return "the journal is empty: write down what the vessels hold, and what was titrated"
    if at_ms < row[0]:
        return f"the journal begins on {exact_time(row[0], cellar.site.zone)}: before that nothing is known"
    return f"the journal says nothing of the wine in {contents.vessel} at that time: write down its filling"
