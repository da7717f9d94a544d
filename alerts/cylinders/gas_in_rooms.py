"""The gas that stands in a room, as the store knows it: in cylinders and vessels, by what was read and written last."""

from __future__ import annotations

__all__ = ["GasInRooms", "QuickGasInRooms"]

from collections.abc import Collection, Mapping
from typing import Final

from alerts.cylinders.details import cylinder_shown
from alerts.cylinders.written import written_measurements
from alerts.gas.gases import GASES
from alerts.gas.stock import GasStock, NewestNumber, RoomGas, cylinder_stock, vessel_stock
from ingest.cellar import Cellar, Cylinder, Probe, Room, Vessel
from ingest.errors import IngestError
from ingest.journal.contents import Contents
from ingest.reading import Quality, quality_class
from ingest.store import Store
from ingest.store.journal.journal_version import journal_version
from ingest.store.journal.stored_ledger import contents_inside
from ingest.store.judgements import newest_judgements
from ingest.store.readings.scales import scales, value_at
from ingest.store.readings.series import all_series
from ingest.store.readings.series_history import latest, newest_of_recent

_NOTHING_KNOWN: Final[Mapping[str, Contents]] = {}


class GasInRooms:
    """Gives the gas that can empty into the room of a place; call inside a transaction of the store.

    What was read, and what vessels and cylinders hold, is looked up once for each moment that is asked for.
    """

    def __init__(self, cellar: Cellar, store: Store) -> None:
        self._cellar = cellar
        self._store = store
        self._contents_of: tuple[object, Mapping[str, Contents]] = (None, _NOTHING_KNOWN)
        self._cylinders_of: tuple[int, dict[str, GasStock]] = (-1, {})
        self._numbers_of: tuple[int, Mapping[str, NewestNumber]] = (-1, {})
        self._series_of: Mapping[tuple[str, str, str], int] | None = None

    def around(self, place: str, now_ms: int) -> RoomGas | None:
        """Give what a leak at a place can let out: a cylinder's gas; a vessel's, and of the cylinders that can feed it.

        None for a room, for a vessel without gas and for a place that is gone.
        """
        cylinder = next((each for each in self._cellar.cylinder if each.id == place), None)
        if cylinder is not None:
            return self._room_gas(cylinder.room, [self.in_cylinder(cylinder, now_ms)])
        vessel = next((each for each in self._cellar.vessel if each.id == place), None)
        if vessel is None or vessel.gas is None:
            return None
        inside = self.in_vessel(vessel, now_ms)
        beside = [self.in_cylinder(each, now_ms) for each in self._cellar.cylinder if self._feeds(each, vessel)]
        return self._room_gas(vessel.room, [*([] if inside is None else [inside]), *beside])

    def beside(self, place: str, now_ms: int) -> RoomGas | None:
        """Give all gas that somebody who goes to a place may meet: what stands in its room, and what can leak there.

        Places of which nobody says where they stand count as one room. None where there is no gas.
        """
        rooms: dict[str, str | None] = {room.id: room.id for room in self._cellar.room}
        rooms |= {vessel.id: vessel.room for vessel in self._cellar.vessel}
        rooms |= {cylinder.id: cylinder.room for cylinder in self._cellar.cylinder}
        if place not in rooms:
            return None
        room = rooms[place]
        around = self.around(place, now_ms)
        stocks = [*self.in_room(room, now_ms).stocks, *(() if around is None else around.stocks)]
        return self._room_gas(room, list(dict.fromkeys(stocks))) if stocks else None

    def in_room(self, room: str | None, now_ms: int) -> RoomGas:
        """Give all gas that stands in a room; None for what stands nobody knows where."""
        cylinders = [self.in_cylinder(each, now_ms) for each in self._cellar.cylinder if each.room == room]
        vessels = [self.in_vessel(each, now_ms) for each in self._cellar.vessel if each.room == room]
        return self._room_gas(room, [*cylinders, *(stock for stock in vessels if stock is not None)])

    def in_cylinder(self, cylinder: Cylinder, now_ms: int) -> GasStock:
        """Give what a cylinder holds."""
        if self._cylinders_of[0] != now_ms:
            self._cylinders_of = (now_ms, {})
        known = self._cylinders_of[1]
        if cylinder.id not in known:
            known[cylinder.id] = self._cylinder_stock(cylinder, now_ms)
        return known[cylinder.id]

    def in_vessel(self, vessel: Vessel, now_ms: int) -> GasStock | None:
        """Give the gas in a vessel; None where it has none, or nothing says how much."""
        if vessel.gas is None:
            return None
        contents = self._contents(now_ms).get(vessel.id)
        pressures = self.numbers(self._cellar.probes_at(vessel.id), now_ms)
        # Without a probe and under no stamp it is not kept under pressure: the air's pressure counts.
        stamp_kpa = vessel.max_pressure_kpa if vessel.under_gas else 0.0
        return vessel_stock(
            vessel.id,
            GASES[vessel.gas],
            vessel.capacity_l,
            None if contents is None or not contents.known else contents.volume_l,
            pressure_kpa=pressures.get("pressure"),
            temperature_c=self.temperature_c(vessel.id, vessel.room, now_ms),
            stamp_kpa=stamp_kpa,
        )

    def numbers(self, probes: Collection[Probe], now_ms: int) -> Mapping[str, NewestNumber]:
        """Give the newest usable number of each quantity that the probes measure, in the quantity's unit."""
        if self._numbers_of[0] != now_ms:
            self._numbers_of = (now_ms, self._read(now_ms))
        found: dict[str, NewestNumber] = {}
        for probe in probes:
            number = self._numbers_of[1].get(probe.id)
            if number is not None:
                _keep_newer(found, probe.quantity, number)
        return found

    def _read(self, now_ms: int) -> dict[str, NewestNumber]:
        """The newest usable number of each probe, by its id."""
        known = {(row.probe, row.place, row.quantity): row.id for row in all_series(self._store)}
        series = {known.get((probe.id, probe.at, probe.quantity)): probe.id for probe in self._cellar.probe}
        found = {}
        for id, reading in latest(self._store, [id for id in series if id is not None], now_ms).items():
            if quality_class(reading.quality) is not Quality.BAD:
                value = value_at(scales(self._store, id), reading.at_ms, reading.number)
                found[series[id]] = NewestNumber(value, reading.at_ms)
        return found

    def temperature_c(self, place: str, room: str | None, now_ms: int) -> float | None:
        """Give the newest temperature at a place, else in its room; None where neither was measured."""
        for each in (place, room):
            probes = () if each is None else self._cellar.probes_at(each)
            found = self.numbers(probes, now_ms).get("temperature")
            if found is not None:
                return found.value
        return None

    def _cylinder_stock(self, cylinder: Cylinder, now_ms: int) -> GasStock:
        read = self.numbers(self._cellar.probes_at(cylinder.id), now_ms)
        by_hand = written_measurements(self._store, cylinder, now_ms)
        weights = [NewestNumber(body.content_kg, at_ms) for at_ms, body in by_hand if body.content_kg is not None]
        written = [NewestNumber(body.value, at_ms) for at_ms, body in by_hand if body.quantity == "pressure"]
        pressures = [*written, *([read["pressure"]] if "pressure" in read else [])]
        return cylinder_stock(
            cylinder.id,
            GASES[cylinder.gas],
            cylinder.water_volume_l,
            pressure_kpa=max(pressures, key=_when, default=None),
            temperature_c=self.temperature_c(cylinder.id, cylinder.room, now_ms),
            content_kg=max(weights, key=_when, default=None),
        )

    def _feeds(self, cylinder: Cylinder, vessel: Vessel) -> bool:
        """Whether a cylinder may empty through a leak at a vessel, or beside it."""
        joined = any(line.cylinder == cylinder.id and vessel.id in line.vessels for line in self._cellar.gas_line)
        return joined or (cylinder.room is not None and cylinder.room == vessel.room)

    def _room_gas(self, room: str | None, stocks: Collection[GasStock]) -> RoomGas:
        known: Room | None = next((each for each in self._cellar.room if each.id == room), None)
        return RoomGas(room or "", None if known is None else known.volume_m3, tuple(stocks))

    def _version(self, now_ms: int) -> object:
        """What differs where vessels may hold something else."""
        return now_ms

    def _contents(self, now_ms: int) -> Mapping[str, Contents]:
        version = self._version(now_ms)
        if self._contents_of[0] != version:
            try:
                found: Mapping[str, Contents] = contents_inside(self._store.connection, now_ms, self._cellar)
            except IngestError:
                found = _NOTHING_KNOWN  # an entry that cannot be read; the daemon says so
            self._contents_of = (version, found)
        return self._contents_of[1]


class QuickGasInRooms(GasInRooms):
    """The same for a turn, which may write a hundred messages and must stay short.

    Readings count if they are among the newest of all series, cylinders as they were judged, and what vessels hold is
    worked out again only when the journal has changed.
    """

    def numbers(self, probes: Collection[Probe], now_ms: int) -> Mapping[str, NewestNumber]:
        """Give the newest usable number of each quantity that the probes measure, if it is recent."""
        found: dict[str, NewestNumber] = {}
        for probe in probes:
            series = self._series().get((probe.id, probe.at, probe.quantity))
            row = None if series is None else newest_of_recent(self._store, series)
            if row is not None and quality_class(row.quality) is not Quality.BAD:
                _keep_newer(found, probe.quantity, NewestNumber(row.value, row.at_ms))
        return found

    def _series(self) -> Mapping[tuple[str, str, str], int]:
        if self._series_of is None:
            self._series_of = {(row.probe, row.place, row.quantity): row.id for row in all_series(self._store)}
        return self._series_of

    def _version(self, now_ms: int) -> object:
        return journal_version(self._store)

    def _cylinder_stock(self, cylinder: Cylinder, now_ms: int) -> GasStock:
        shown = next(
            (
                shown
                for judgement in newest_judgements(self._store, place=cylinder.id)
                if (shown := cylinder_shown(judgement)) is not None
            ),
            None,
        )
        if shown is None or shown.content_l is None or shown.basis not in ("pressure", "weight"):
            return super()._cylinder_stock(cylinder, now_ms)
        return GasStock(
            cylinder.id,
            GASES[cylinder.gas],
            shown.content_l,
            None,
            "weight" if shown.basis == "weight" else "pressure",
            shown.basis_ms,
            temperature_known=shown.thermometer != "",
        )


def _keep_newer(found: dict[str, NewestNumber], quantity: str, number: NewestNumber) -> None:
    if quantity not in found or number.at_ms > found[quantity].at_ms:
        found[quantity] = number


def _when(measured: NewestNumber) -> int:
    return measured.at_ms
