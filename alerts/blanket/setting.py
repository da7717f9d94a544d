"""What the cellar file says of a vessel whose gas is judged: the vessel, its probes, the air around it. Pure."""

from __future__ import annotations

__all__ = ["AIR_FLOOR_KPA", "REFERENCE_C", "BlanketSetting", "blanket_settings"]

from collections.abc import Iterable
from typing import Final, Literal, NamedTuple

from alerts.gas.vessel_walls import walls_of
from ingest.cellar import Cellar, EffectiveLimit, Gas, Probe, Vessel
from ingest.probes.binding import barometer_of
from ingest.probes.file_scale import STANDARD_PRESSURE_KPA, station_pressure_kpa

# Under this gauge pressure air can reach the wine, where no limit of the vessel says otherwise (a working default).
AIR_FLOOR_KPA: Final = 5.0
# Compensated pressures are given at this temperature [°C].
REFERENCE_C: Final = 15.0

# Without a reading for so long, or for so many intervals of the probe, nothing is said of the gas (working defaults).
_SILENT_MS: Final = 30 * 60_000
_SILENT_INTERVALS: Final = 3


class BlanketSetting(NamedTuple):
    """A vessel whose gas may be judged.

    walls: steel, glass or rigid; gas: by the cellar file; in glass without a blanket carbon dioxide, which rises out
    of the wine; None where there is none, unless the journal says so; floor_kpa: the air floor, kPa gauge;
    station_kpa: mean air pressure at the place, kPa absolute, None where neither an altitude says it nor the barometer
    is needed for it; temperature: of the wine or of the wall, None without such a probe; room: of the air around the
    vessel.
    """

    vessel: Vessel
    walls: str
    gas: Gas | None
    floor_kpa: float
    station_kpa: float | None
    pressure: Probe
    temperature: Probe | None
    barometer: Probe | None
    room: Probe | None

    @property
    def mounted(self) -> Literal["wine", "wall"]:
        """Where the temperature is taken."""
        return "wall" if self.temperature is not None and self.temperature.mounted == "wall" else "wine"

    @property
    def silent_ms(self) -> int:
        """A newest reading that is older than this says nothing of now."""
        return max(_SILENT_MS, round(1000 * _SILENT_INTERVALS * self.pressure.every_s))

    @property
    def reads_seldom(self) -> bool:
        """Whether its pressure is read so seldom that a reading counts for longer than usual."""
        return self.silent_ms > _SILENT_MS

    @property
    def is_gauge(self) -> bool:
        """Whether the sensor is vented, so that the weather moves what it reads."""
        return self.pressure.reference == "gauge"


def blanket_settings(cellar: Cellar) -> dict[str, BlanketSetting]:
    """Find the vessels whose gas may be judged, by id: those that have a pressure probe."""
    return {
        vessel.id: _setting(cellar, vessel, pressure)
        for vessel in cellar.vessel
        if (pressure := _first(cellar.probes_at(vessel.id), "pressure")) is not None
    }


def _setting(cellar: Cellar, vessel: Vessel, pressure: Probe) -> BlanketSetting:
    altitude_m, barometer = cellar.site.altitude_m, barometer_of(cellar, vessel)
    station = None if altitude_m is None else station_pressure_kpa(altitude_m)
    probes = cellar.probes_at(vessel.id)
    around = () if vessel.room is None else cellar.probes_at(vessel.room)
    return BlanketSetting(
        vessel=vessel,
        walls=walls_of(vessel.material),
        gas="carbon dioxide" if vessel.gas is None and vessel.material == "glass" else vessel.gas,
        floor_kpa=_floor_kpa(cellar.limits, vessel.id),
        station_kpa=STANDARD_PRESSURE_KPA if station is None and barometer is None else station,
        pressure=pressure,
        temperature=_first(probes, "temperature", "wine") or _first(probes, "temperature", "wall"),
        barometer=barometer,
        room=_first(around, "temperature") or _first(probes, "temperature", "air"),
    )


def _first(probes: Iterable[Probe], quantity: str, mounted: str | None = None) -> Probe | None:
    return next((each for each in probes if each.quantity == quantity and mounted in (None, each.mounted)), None)


def _floor_kpa(limits: Iterable[EffectiveLimit], vessel: str) -> float:
    """The vessel's own low limit on pressure, else the default one on air, else ``AIR_FLOOR_KPA``."""
    low = [each for each in limits if each.at == vessel and each.quantity == "pressure" and each.kind == "low"]
    for those in ([each for each in low if each.origin == "file"], [each for each in low if each.role == "air"]):
        if those:
            return min(each.setpoint for each in those)
    return AIR_FLOOR_KPA
