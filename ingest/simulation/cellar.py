"""The simulated cellar: room, vessels, cylinders and what people do with them, moved through time together."""

from __future__ import annotations

__all__ = ["Deed", "LidLifts", "Recharge", "Reseat", "SimulatedCellar", "SlowLeak", "Spend", "Tap"]

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import heapify, heapreplace
from random import Random

from ingest.simulation.cylinder import SimulatedCylinder
from ingest.simulation.instrument import Instrument, Measured
from ingest.simulation.physics import GAS_CONSTANT, ZERO_C, leak_conductance
from ingest.simulation.vessel import SimulatedVessel
from ingest.simulation.weather import Weather

_WALL_SHARE_OF_ROOM = 0.1
"""How far a wall probe's temperature is from the wine's towards the room's: an assumption of the simulation."""

_LITRES_PER_MOL = GAS_CONSTANT * 288.15 / 101.325
"""Volume of a mole of gas at 15 °C and 101.325 kPa, the conditions of ISO 13443 [L/mol]."""


@dataclass(frozen=True, slots=True)
class Recharge:
    """A person charges a vessel to a gauge pressure. Each purge before charges it to ``purge_kpa`` and vents it."""

    vessel: str
    cylinder: str
    to_kpa: float = 55.0
    purges: int = 0
    purge_kpa: float = 55.0


@dataclass(frozen=True, slots=True)
class Spend:
    """A person uses gas of the cylinder elsewhere, such as to sweep an empty keg; litres at 15 °C and 101.325 kPa."""

    cylinder: str
    litres: float


@dataclass(frozen=True, slots=True)
class Tap:
    """A person draws wine, L."""

    vessel: str
    litres: float


@dataclass(frozen=True, slots=True)
class SlowLeak:
    """A seal begins to leak: at a steady temperature the pressure would be ``to_kpa`` gauge after ``within_s``."""

    vessel: str
    to_kpa: float
    within_s: float


@dataclass(frozen=True, slots=True)
class LidLifts:
    """A lid comes off its seat: the pressure falls through ``to_kpa`` gauge ``within_s`` later."""

    vessel: str
    to_kpa: float = 5.0
    within_s: float = 25.0


@dataclass(frozen=True, slots=True)
class Reseat:
    """A person makes a vessel tight again."""

    vessel: str


Deed = Recharge | Spend | Tap | SlowLeak | LidLifts | Reseat


class SimulatedCellar:
    """Everything in one room at the time ``now_ms``.

    It moves in steps of ``step_ms``; a deed divides the step in which it happens. So the state at a time depends on the
    seed, the deeds and the steps, never on how often it was asked for. ``step_ms`` may be changed meanwhile.
    """

    def __init__(
        self,
        *,
        now_ms: int,
        seed: int,
        weather: Weather,
        room: str,
        vessels: Sequence[SimulatedVessel],
        cylinders: Sequence[SimulatedCylinder],
        instruments: Sequence[Instrument],
        step_ms: int = 60_000,
    ) -> None:
        self.now_ms = now_ms
        self.step_ms = step_ms
        self.room = room
        self.room_c, self.station_kpa = weather.air(now_ms)
        self.vessels = {vessel.name: vessel for vessel in vessels}
        self.cylinders = {cylinder.name: cylinder for cylinder in cylinders}
        self.instruments = {instrument.probe: instrument for instrument in instruments}
        self._weather = weather
        self._noise = {probe: Random(f"{probe}/{seed}") for probe in self.instruments}  # noqa: S311 - physics, not secrets
        self._deeds: list[tuple[int, Deed]] = []

    def schedule(self, at_ms: int, deed: Deed) -> None:
        """Schedule a deed at a time (UTC ms). ValueError if that has passed or a vessel or cylinder is unknown."""
        if at_ms < self.now_ms:
            raise ValueError(f"{deed} at {at_ms} ms: the cellar is at {self.now_ms} ms already")
        if not isinstance(deed, Spend) and deed.vessel not in self.vessels:
            raise ValueError(f"{deed}: no vessel {deed.vessel}; there are {', '.join(self.vessels)}")
        if isinstance(deed, Spend | Recharge) and deed.cylinder not in self.cylinders:
            raise ValueError(f"{deed}: no cylinder {deed.cylinder}; there are {', '.join(self.cylinders)}")
        self._deeds.append((at_ms, deed))
        self._deeds.sort(key=lambda entry: entry[0])

    def advance(self, to_ms: int) -> None:
        """Take every whole step that ends by a time (UTC ms); an earlier time changes nothing."""
        while True:
            step_end = self.now_ms + self.step_ms
            if self._deeds and self._deeds[0][0] <= min(step_end, to_ms):
                at_ms, deed = self._deeds.pop(0)
                self._step(at_ms)
                self._do(deed)
            elif step_end <= to_ms:
                self._step(step_end)
            else:
                return

    def value(self, place: str, quantity: str, mounted: str = "wine") -> float:
        """Return a true value now, in °C or kPa (gauge; absolute for the barometer). KeyError for an unknown place."""
        if place == self.room:
            return self.station_kpa if quantity == "barometric_pressure" else self.room_c
        if place in self.cylinders:
            cylinder = self.cylinders[place]
            return cylinder.pressure_kpa if quantity == "pressure" else cylinder.gas_c
        vessel = self.vessels[place]
        if quantity == "pressure":
            return vessel.pressure_kpa
        if mounted == "air":
            return self.room_c
        if mounted == "wall":
            return vessel.wine_c + _WALL_SHARE_OF_ROOM * (self.room_c - vessel.wine_c)
        return vessel.wine_c

    def measure(self, probe: str) -> float:
        """Return what a probe shows now, in its own unit."""
        instrument = self.instruments[probe]
        value = self.value(instrument.place, instrument.quantity, instrument.mounted)
        return instrument.number(value, self._noise[probe])

    def readings(self, to_ms: int, *, every_ms: int | None = None) -> Iterator[Measured]:
        """Move to a time and yield what every probe showed until then, each at its interval, or all at ``every_ms``.

        The times of one probe strictly increase and none is later than ``to_ms``; those of different probes may be out
        of order by their jitter.
        """
        start_ms = self.now_ms
        count = len(self.instruments)
        due: list[tuple[int, int, Instrument]] = []
        for index, instrument in enumerate(self.instruments.values()):
            every = every_ms or instrument.every_ms
            due.append((start_ms + (index + 1) * every // (count + 1), index, instrument))
        heapify(due)
        while due and due[0][0] <= to_ms:
            at_ms, index, instrument = due[0]
            every = every_ms or instrument.every_ms
            heapreplace(due, (at_ms + every, index, instrument))
            self.advance(at_ms)
            stamp = at_ms + instrument.lateness_ms(self._noise[instrument.probe], every)
            stamp = min(max(stamp, start_ms + 1), to_ms)
            yield Measured(instrument.probe, stamp, self.measure(instrument.probe))
        self.advance(to_ms)

    def total_mol(self) -> float:
        """Add up the gas that vessels and cylinders held at the start, wherever it is now [mol]. It never changes."""
        vessels = self.vessels.values()
        held = sum(v.head_mol + v.dissolved_mol + v.escaped_mol - v.charged_mol - v.released_mol for v in vessels)
        return held + sum(c.moles + c.spent_mol for c in self.cylinders.values())

    def _step(self, to_ms: int) -> None:
        elapsed_s = (to_ms - self.now_ms) / 1000.0
        self.room_c, self.station_kpa = room_c, station_kpa = self._weather.air(to_ms)
        for vessel in self.vessels.values():
            vessel.step(elapsed_s, room_c, station_kpa)
        for cylinder in self.cylinders.values():
            cylinder.step(elapsed_s, room_c, station_kpa)
        self.now_ms = to_ms

    def _do(self, deed: Deed) -> None:
        match deed:
            case Recharge():
                self._recharge(deed)
            case Spend():
                self.cylinders[deed.cylinder].take(deed.litres / _LITRES_PER_MOL)
            case Tap():
                self.vessels[deed.vessel].draw(deed.litres)
            case SlowLeak() | LidLifts():
                vessel = self.vessels[deed.vessel]
                vessel.leak = leak_conductance(
                    from_kpa=vessel.pressure_kpa,
                    to_kpa=deed.to_kpa,
                    within_s=deed.within_s,
                    headspace_l=vessel.headspace_l,
                    gas_c=vessel.gas_c,
                )
            case Reseat():
                self.vessels[deed.vessel].leak = 0.0

    def _recharge(self, deed: Recharge) -> None:
        vessel = self.vessels[deed.vessel]
        cylinder = self.cylinders[deed.cylinder]
        cycle = vessel.headspace_l * deed.purge_kpa / (GAS_CONSTANT * (vessel.gas_c + ZERO_C))
        moles = max(0.0, vessel.moles_to_reach(deed.to_kpa))
        cylinder.take(moles + deed.purges * cycle)
        vessel.charge(moles)
