"""The facts of a racking, from the cellar file and the store."""

from __future__ import annotations

__all__ = ["racking_facts"]


from alerts.cylinders.gas_in_rooms import GasInRooms
from alerts.errors import OutOfRange
from alerts.gas.blanket import BAROMETER_RANGE
from alerts.gas.gases import ATMOSPHERE_KPA
from alerts.review.racking_facts import SEA_LEVEL, RackingFacts, RackingVessel
from ingest.cellar import Cellar, Vessel
from ingest.journal.contents import Contents
from ingest.probes.file_scale import station_pressure_kpa
from ingest.store import Store
from ingest.store.journal.stored_ledger import contents_inside


def racking_facts(cellar: Cellar, store: Store, vessel: str, to: str | None, now_ms: int) -> RackingFacts:
    """Read what is known before wine is moved from a vessel, at now_ms [UTC ms]; call inside ``store.read()``.

    vessel, to: ids of vessels of the cellar file. Raises OutOfRange for one that it does not have.
    """
    gas = GasInRooms(cellar, store)
    contents = contents_inside(store.connection, now_ms, cellar)

    def facts_of(each: Vessel) -> RackingVessel:
        return _vessel(cellar, gas, each, contents.get(each.id), now_ms)

    declared = {each.id: each for each in cellar.vessel}
    for role, id in (("vessel", vessel), ("receiver", to)):
        if id is not None and id not in declared:
            raise OutOfRange(role, f"the cellar file has no vessel '{id}'; there are: {', '.join(declared) or 'none'}")
    source = facts_of(declared[vessel])
    receiver = None if to is None else facts_of(declared[to])
    empty = [
        facts_of(each)
        for each in cellar.vessel
        if each.id != vessel and (holds := contents.get(each.id)) is not None and holds.empty
    ]
    rooms = dict.fromkeys(each.room for each in (source, receiver) if each is not None)
    barometer_kpa, barometer_from = _barometer(cellar, gas, now_ms)
    return RackingFacts(
        at_ms=now_ms,
        source=source,
        receiver=receiver,
        empty=tuple(empty),
        cylinders=tuple(gas.in_cylinder(each, now_ms) for each in cellar.cylinder),
        lines=frozenset((line.cylinder, each) for line in cellar.gas_line for each in line.vessels),
        rooms=tuple(gas.in_room(room, now_ms) for room in rooms),
        barometer_kpa=barometer_kpa,
        barometer_from=barometer_from,
    )


def _vessel(cellar: Cellar, gas: GasInRooms, vessel: Vessel, holds: Contents | None, now_ms: int) -> RackingVessel:
    known = holds is not None and holds.known
    return RackingVessel(
        id=vessel.id,
        kind=vessel.kind,
        capacity_l=vessel.capacity_l,
        material=vessel.material,
        stamp_kpa=vessel.max_pressure_kpa,
        gas=vessel.gas or "",
        room=vessel.room or "",
        known=known,
        wine_l=holds.volume_l if known and holds is not None else None,
        u_wine_l=holds.u_volume_l if known and holds is not None else None,
        lots=() if holds is None else tuple(part.words for part in holds.lots),
        alcohol_percent_vol=None if holds is None else holds.alcohol_percent_vol,
        pressure_kpa=gas.numbers(cellar.probes_at(vessel.id), now_ms).get("pressure"),
        temperature_c=gas.temperature_c(vessel.id, vessel.room, now_ms),
        out_of_use=holds is not None and holds.out_of_use,
    )


def _barometer(cellar: Cellar, gas: GasInRooms, now_ms: int) -> tuple[float, str]:
    """The air pressure at the place [kPa absolute], and where it is from."""
    probes = [probe for probe in cellar.probe if probe.quantity == "barometric_pressure"]
    read = gas.numbers(probes, now_ms).get("barometric_pressure")
    if read is not None and BAROMETER_RANGE.low <= read.value <= BAROMETER_RANGE.high:
        return read.value, "by the barometer"
    if cellar.site.altitude_m is not None:
        return station_pressure_kpa(cellar.site.altitude_m), "by the altitude"
    return ATMOSPHERE_KPA, SEA_LEVEL
