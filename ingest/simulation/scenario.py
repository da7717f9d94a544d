"""Mill Lane cellar: three kegs, a carboy and a nitrogen cylinder, and what happened to them in the last weeks."""

from __future__ import annotations

__all__ = ["CELLAR", "INSTRUMENTS", "LIVE_STEP_MS", "OUTLETS", "MillLane"]

from collections.abc import Iterator
from typing import Final

from ingest.simulation.cellar import Deed, LidLifts, Recharge, Reseat, SimulatedCellar, SlowLeak, Spend, Tap
from ingest.simulation.cylinder import SimulatedCylinder
from ingest.simulation.instrument import Instrument
from ingest.simulation.physics import GLASS_EXPANSION, cylinder_moles
from ingest.simulation.vessel import Airlock, SimulatedVessel
from ingest.simulation.weather import ColdNight, Weather
from ingest.simulation.wire import JsonTopic, Outlet, PlainTopic, SerialText

_HOUR_MS = 3_600_000
_DAY_MS = 24 * _HOUR_MS

# The last night: coldest at 4 o'clock UTC, and over by so many hours before the present at least.
_COLDEST_UTC_H = 4
_NIGHT_OVER_H = 3
_NIGHT_HALF_MS = 11 * _HOUR_MS
_NIGHT_DEPTH_K = 9.0
# The lid seal of K2 begins to leak so long before the present, and would bring it to 5 kPa in 40 minutes.
_LEAK_BEFORE_MS = 18 * 60_000

CELLAR: Final = "cellar"
"""The room's id."""

LIVE_STEP_MS: Final = 250
"""Step of the physics while the rig plays it [ms]."""

INSTRUMENTS: Final = (
    Instrument("k1-pressure", "K1", "pressure", "psi", 100, 0.008, 5_000),
    Instrument("k1-temperature", "K1", "temperature", "degC", 10, 0.02, 10_000, mounted="wall"),
    Instrument("k2-pressure", "K2", "pressure", "kPa", 10, 0.05, 2_000),
    Instrument("k2-temperature", "K2", "temperature", "degC", 16, 0.02, 2_000, mounted="wall"),
    Instrument("k3-pressure", "K3", "pressure", "kPa", 10, 0.05, 5_000),
    Instrument("k3-temperature", "K3", "temperature", "degC", 10, 0.02, 10_000, mounted="wall"),
    Instrument("c1-pressure", "C1", "pressure", "kPa", 100, 0.005, 5_000),
    Instrument("c1-temperature", "C1", "temperature", "degC", 10, 0.02, 10_000, mounted="wine"),
    Instrument("n2-pressure", "N2", "pressure", "bar", 10, 0.04, 10_000),
    Instrument("cellar-temperature", CELLAR, "temperature", "degC", 16, 0.03, 10_000, mounted="air"),
    Instrument("cellar-barometer", CELLAR, "barometric_pressure", "hPa", 10, 0.05, 10_000),
)
"""The probes. Noise and resolution are those of ordinary small sensors: common practice, no source."""

OUTLETS: Final[tuple[Outlet, ...]] = (
    PlainTopic("cellar/K1/pressure", "k1-pressure"),
    SerialText("K1", "k1-temperature"),
    JsonTopic("cellar/K2/box", (("k2-pressure", ("gas", "kPa")), ("k2-temperature", ("wine", "degC")))),
    PlainTopic("cellar/K3/pressure", "k3-pressure"),
    SerialText("K3", "k3-temperature"),
    PlainTopic("cellar/C1/pressure", "c1-pressure"),
    SerialText("C1", "c1-temperature"),
    JsonTopic("cellar/N2/regulator", (("n2-pressure", ("inlet", "bar")),), clock="unix"),
    PlainTopic("cellar/air/temperature", "cellar-temperature"),
    PlainTopic("cellar/air/barometer", "cellar-barometer"),
)
"""What is sent, each message with the probes that it carries."""


class MillLane:
    """The cellar with its past and its present.

    now_ms: where the past ends and the present begins, UTC ms; days: how long the past is, 0 to 365 (0: the kegs are
    just charged); seed: decides weather and noise. Take ``past_readings`` to its end first: that moves ``cellar`` to
    ``now_ms``, and the rig goes on from that state. night_ms: when the cold night of the last day begins, and leak_ms:
    when the lid seal of K2 begins to leak after it, UTC ms.
    """

    def __init__(self, *, now_ms: int, days: int = 30, seed: int = 7) -> None:
        if not 0 <= days <= 365:
            raise ValueError(f"{days} days of history: from 0 to 365 can be made")
        self.end_ms = now_ms
        start_ms = now_ms - days * _DAY_MS
        coldest_ms = _coldest(now_ms)
        self.night_ms = coldest_ms - _NIGHT_HALF_MS
        self.leak_ms = now_ms - _LEAK_BEFORE_MS
        night = ColdNight(coldest_ms, _NIGHT_HALF_MS, _NIGHT_DEPTH_K)
        weather = Weather(seed=seed, start_ms=start_ms, cold_nights=(night,))
        room_c, station_kpa = weather.air(start_ms)
        vessels = _vessels(room_c, station_kpa)
        moles = cylinder_moles(15_000.0, 10.0, room_c)
        self.cellar = SimulatedCellar(
            now_ms=start_ms,
            seed=seed,
            weather=weather,
            room=CELLAR,
            vessels=vessels,
            cylinders=[SimulatedCylinder("N2", 10.0, moles, room_c, station_kpa=station_kpa)],
            instruments=INSTRUMENTS,
            step_ms=60_000,
        )
        self._plan_the_past(start_ms)
        if days == 0:
            self.cellar.step_ms = LIVE_STEP_MS

    def past_readings(
        self, *, cadence_s: int = 60, until_ms: int | None = None
    ) -> Iterator[tuple[str, list[tuple[int, float, int]]]]:
        """Yield what every probe sent from where the cellar is until ``now_ms``, a day at a time.

        cadence_s: s between two readings of a probe; until_ms: end before that, at a time (UTC ms). Each item is a
        probe's id and its (UTC ms, number in the probe's unit, quality 0: good) in order of time, every probe of a day
        before the next day. A second call yields nothing.
        """
        end_ms = self.end_ms if until_ms is None else min(until_ms, self.end_ms)
        while self.cellar.now_ms < end_ms:
            day_end_ms = min(end_ms, self.cellar.now_ms + _DAY_MS)
            day: dict[str, list[tuple[int, float, int]]] = {probe: [] for probe in self.cellar.instruments}
            for probe, at_ms, number in self.cellar.readings(day_end_ms, every_ms=cadence_s * 1000):
                day[probe].append((at_ms, number, 0))
            if self.cellar.now_ms < day_end_ms:  # a deed shifted the grid; close the gap to the day's end
                self.cellar.step_ms = day_end_ms - self.cellar.now_ms
                self.cellar.advance(day_end_ms)
                self.cellar.step_ms = 60_000
            yield from day.items()
        if self.cellar.now_ms >= self.end_ms:
            self.cellar.step_ms = LIVE_STEP_MS

    def lift_lid(self, at_ms: int) -> None:
        """Schedule that the lid of K2 comes off its seat (UTC ms): its pressure falls below 5 kPa 15 s later."""
        self.cellar.schedule(at_ms, LidLifts("K2", within_s=15.0))

    def mend_lid(self, at_ms: int) -> None:
        """Schedule: a person seats the lid of K2 again (UTC ms), purges K2 and brings its blanket back to 55 kPa."""
        self.cellar.schedule(at_ms, Reseat("K2"))
        self.cellar.schedule(at_ms, Recharge("K2", "N2", purges=3))

    def _plan_the_past(self, start_ms: int) -> None:
        """Schedule what people did, in days before the end; what would be before the start is left out."""
        deeds: tuple[tuple[float, Deed], ...] = (
            (27.0, Tap("K3", 0.75)),
            (24.0, SlowLeak("K2", to_kpa=12.0, within_s=7 * 86_400.0)),  # a seal that was not greased
            (20.0, Tap("K3", 0.75)),
            (18.0, Recharge("K3", "N2", purges=3)),
            (17.0, Reseat("K2")),
            (17.0, Recharge("K2", "N2", to_kpa=20.5, purges=5)),
            (16.0, Spend("N2", litres=120.0)),  # an empty keg was swept
            (13.0, Tap("K3", 0.75)),
            (9.0, Recharge("K3", "N2", purges=3)),
            (9.0, Recharge("K1", "N2")),
            (3.5, Recharge("K2", "N2", to_kpa=20.5, purges=3)),  # it was opened to dose it
            (6.0, Tap("K3", 0.75)),
            (2.0, Recharge("K3", "N2", purges=3)),
            (2.0, Recharge("K1", "N2")),
        )
        if start_ms > self.end_ms - 25 * _DAY_MS:  # too short for all of them: only the last round
            deeds = deeds[-3:]
        if self.leak_ms > start_ms:
            self.cellar.schedule(self.leak_ms, SlowLeak("K2", to_kpa=5.0, within_s=2400.0))
        for days_ago, deed in deeds:
            at_ms = self.end_ms - round(days_ago * _DAY_MS)
            if at_ms > start_ms:
                self.cellar.schedule(at_ms, deed)


def _coldest(now_ms: int) -> int:
    """When the last night was coldest that is over by the present, UTC ms."""
    over_ms = now_ms - _NIGHT_OVER_H * _HOUR_MS - _COLDEST_UTC_H * _HOUR_MS
    return over_ms - over_ms % _DAY_MS + _COLDEST_UTC_H * _HOUR_MS


def _vessels(room_c: float, station_kpa: float) -> list[SimulatedVessel]:
    """Make three 19.5 L steel kegs with 2, 1.2 and 8 L of headspace, and a glass carboy that is full to the neck."""
    kegs = [
        SimulatedVessel("K1", capacity_l=19.5, wine_20c_l=17.5, wine_c=room_c),
        SimulatedVessel("K2", capacity_l=19.5, wine_20c_l=18.3, wine_c=room_c),
        SimulatedVessel("K3", capacity_l=19.5, wine_20c_l=11.5, wine_c=room_c),
    ]
    for keg, gauge_kpa in zip(kegs, (55.0, 21.0, 55.0), strict=True):
        keg.fill(gauge_kpa, station_kpa, saturation=0.93)
    carboy = SimulatedVessel(
        "C1",
        capacity_l=23.0,
        wine_20c_l=22.9,
        wine_c=room_c,
        wall_expansion=GLASS_EXPANSION,
        surface_m_per_s=0.0,
        release_mol_per_s=4e-8,  # a few mL of carbon dioxide an hour from young wine: an assumption of the simulation
        airlock=Airlock(),
    )
    carboy.fill(0.2, station_kpa, saturation=0.0)
    return [*kegs, carboy]
