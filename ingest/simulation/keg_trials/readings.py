"""What the probes of many kegs show: noise, resolution, zero, drift and gaps; as arrays, as points, as CSV."""

from __future__ import annotations

__all__ = ["KegReading", "KegReadings", "read", "write_csv"]

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import NamedTuple, TextIO

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from ingest.simulation.keg_trials.array_physics import Floats
from ingest.simulation.keg_trials.keg import TrialKeg
from ingest.simulation.keg_trials.world import KegTruths

START_MS = 1_788_220_800_000
"""2026-09-01 00:00 UTC: when the first reading is taken."""


class KegReading(NamedTuple):
    """at_ms: UTC ms; kPa gauge; °C; kPa absolute, None without a barometer; °C of the room, None without that probe."""

    at_ms: int
    pressure_kpa: float
    temperature_c: float
    barometer_kpa: float | None
    room_c: float | None


@dataclass(frozen=True, slots=True)
class KegReadings:
    """All readings: arrays of times x kegs, NaN in a gap and for a probe that there is not. at_ms: UTC ms."""

    truths: KegTruths
    at_ms: NDArray[np.int64]
    pressure_kpa: NDArray[np.float32]
    temperature_c: NDArray[np.float32]
    barometer_kpa: NDArray[np.float32]
    room_c: NDArray[np.float32]

    @property
    def kegs(self) -> tuple[TrialKeg, ...]:
        """The kegs, in the order of the columns."""
        return self.truths.kegs

    def of(self, keg: int) -> Iterator[KegReading]:
        """Yield the readings of one keg; gaps are left out."""
        read_at = np.flatnonzero(~np.isnan(self.pressure_kpa[:, keg]))
        probes = self.kegs[keg].probes
        # Four decimals take back what single precision adds, so that a resolution stays what it is.
        columns = [
            np.round(column[read_at, keg].astype(float), 4).tolist()
            for column in (self.pressure_kpa, self.temperature_c, self.barometer_kpa, self.room_c)
        ]
        for at_ms, kpa, celsius, barometer, room in zip(self.at_ms[read_at].tolist(), *columns, strict=True):
            yield KegReading(
                at_ms, kpa, celsius, barometer if probes.barometer else None, room if probes.room else None
            )


def read(truths: KegTruths, *, start_ms: int = START_MS) -> KegReadings:
    """Read every probe of every keg at each step."""
    shape = truths.gauge_kpa.shape
    pressure, temperature, barometer, room = (np.full(shape, np.nan, dtype=np.float32) for _ in range(4))
    days = truths.at_s / 86_400.0
    for index, keg in enumerate(truths.kegs):
        probes, random = keg.probes, np.random.default_rng([keg.seed, 2])
        wine_c, gas_c, room_c = (
            array[:, index].astype(float) for array in (truths.wine_c, truths.gas_c, truths.room_c)
        )
        sensor_c = 0.5 * (gas_c + room_c)
        zero = probes.pressure_zero_kpa + probes.thermal_zero_kpa_k * (sensor_c - 20.0) + probes.drift_kpa_day * days
        shown = truths.gauge_kpa[:, index] + zero
        pressure[:, index] = _shown(shown, probes.pressure_noise_kpa, probes.pressure_step_kpa, random)
        at_probe = wine_c if probes.mounted == "wine" else wine_c + probes.wall_share * (room_c - wine_c)
        at_probe = at_probe + probes.temperature_zero_k
        temperature[:, index] = _shown(at_probe, probes.temperature_noise_k, probes.temperature_step_k, random)
        if probes.barometer:
            air = truths.station_kpa[:, index].astype(float) + probes.barometer_zero_kpa
            barometer[:, index] = _shown(air, probes.barometer_noise_kpa, probes.barometer_step_kpa, random)
        if probes.room:
            room[:, index] = _shown(room_c + probes.room_zero_k, probes.room_noise_k, probes.room_step_k, random)
        for begin_s, end_s in probes.gaps:
            silent = (truths.at_s >= begin_s) & (truths.at_s < end_s)
            for array in (pressure, temperature, barometer, room):
                array[silent, index] = np.nan
    at_ms = start_ms + np.round(1000.0 * truths.at_s).astype(np.int64)
    return KegReadings(truths, at_ms, pressure, temperature, barometer, room)


def write_csv(readings: KegReadings, keg: int, file: TextIO) -> None:
    """Write one keg's readings as CSV: at (RFC 3339), pressure_kpa, temperature_c, and barometer_kpa and room_c if
    read."""
    probes = readings.kegs[keg].probes
    header = ["at", "pressure_kpa", "temperature_c"]
    header += ["barometer_kpa"] * probes.barometer + ["room_c"] * probes.room
    file.write(",".join(header) + "\n")
    for reading in readings.of(keg):
        at = datetime.fromtimestamp(reading.at_ms / 1000.0, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        numbers = [number for number in reading[1:] if number is not None]
        file.write(",".join([at, *(f"{number:.10g}" for number in numbers)]) + "\n")


def _shown(values: Floats, noise: float, step: float, random: Generator) -> Floats:
    noisy = values + noise * random.standard_normal(len(values))
    return np.asarray(np.round(noisy / step) * step if step else noisy)
