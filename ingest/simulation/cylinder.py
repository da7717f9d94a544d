"""A gas cylinder of the simulated cellar."""

from __future__ import annotations

__all__ = ["SimulatedCylinder"]

from dataclasses import dataclass
from math import exp

from ingest.simulation.physics import cylinder_pressure_kpa


@dataclass(slots=True)
class SimulatedCylinder:
    """Compressed nitrogen, from which a person takes some now and then.

    water_volume_l: L; moles: mol left in it; gas_c: °C; lag_s: time constant towards the room (an hour for about 14 kg
    of steel: an assumption of the simulation); spent_mol: mol taken since the start.
    """

    name: str
    water_volume_l: float
    moles: float
    gas_c: float
    lag_s: float = 3600.0
    station_kpa: float = 101.325
    spent_mol: float = 0.0

    @property
    def pressure_kpa(self) -> float:
        """Gauge pressure, kPa."""
        return cylinder_pressure_kpa(self.moles, self.water_volume_l, self.gas_c) - self.station_kpa

    def take(self, moles: float) -> None:
        """Take gas out through the valve, in mol. ValueError if the cylinder holds less."""
        if not 0.0 <= moles <= self.moles:
            raise ValueError(
                f"{self.name}: {moles:.3f} mol to take, {self.moles:.3f} mol in it; take less or use a full cylinder"
            )
        self.moles -= moles
        self.spent_mol += moles

    def step(self, elapsed_s: float, room_c: float, station_kpa: float) -> None:
        """Move by a time in s, with the room steady (°C, kPa absolute)."""
        self.station_kpa = station_kpa
        self.gas_c = room_c + (self.gas_c - room_c) * exp(-elapsed_s / self.lag_s)
