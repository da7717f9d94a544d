"""Two simpler ways to find a leak, to be measured beside leeside's: the gauge alone, and the ideal gas alone.

Both have the same rule, once they have learned for two days: an alarm while the mean of an hour is 5 kPa below that of
the two days, or has fallen by 5 kPa within ten minutes. They differ in what they look at: the gauge as it is read; or
the gauge that an ideal gas would have at the mean temperature of these days, with the air's pressure where it is
measured.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ingest.simulation.keg_trials.array_physics import Floats
from ingest.simulation.keg_trials.readings import KegReadings

LEARN_S = 2 * 86_400.0
FALL_KPA = 5.0
WAYS = ("gauge alone", "ideal gas")


def simple_alarms(readings: KegReadings, keg: int) -> dict[str, list[float]]:
    """Give the moments [s] at which each way has an alarm, every ten minutes."""
    at_s = readings.truths.at_s
    gauge = readings.pressure_kpa[:, keg].astype(float)
    celsius = readings.temperature_c[:, keg].astype(float)
    mean_air = readings.kegs[keg].air.station_kpa
    air = readings.barometer_kpa[:, keg].astype(float) if readings.kegs[keg].probes.barometer else mean_air
    learned = at_s < LEARN_S
    reference = float(np.nanmean(celsius[learned])) + 273.15
    ideal = (gauge + air) * reference / (celsius + 273.15) - mean_air
    return {"gauge alone": _falls(at_s, gauge, learned), "ideal gas": _falls(at_s, ideal, learned)}


def _falls(at_s: Floats, values: Floats, learned: NDArray[np.bool_]) -> list[float]:
    step_s = float(at_s[1] - at_s[0])
    hour, ten = round(3600.0 / step_s), round(600.0 / step_s)
    mean = float(np.nanmean(values[learned]))
    known = ~np.isnan(values)
    sums = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(known)])
    alarms = []
    for i in range(int(np.searchsorted(at_s, LEARN_S)), len(at_s), max(1, ten // 10)):
        count = counts[i + 1] - counts[i + 1 - hour]
        low = count > 0 and (sums[i + 1] - sums[i + 1 - hour]) / count < mean - FALL_KPA
        if low or values[i] < values[i - ten] - FALL_KPA:
            alarms.append(float(at_s[i]))
    return alarms
