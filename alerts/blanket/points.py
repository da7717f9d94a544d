"""From the readings of a vessel's instruments to the points that its gas is judged by. Pure.

Points are means over minutes, as they are while readings come. Of the past, those of ten minutes in which the pressure
hardly moved become one: a detector learns as much from it, and a start is much quicker.
"""

from __future__ import annotations

__all__ = ["COARSE_MS", "MinuteArrays", "instrument_id", "is_usable", "joined", "minute_arrays", "moment_point"]

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from alerts.blanket.series_minutes import MINUTE_MS
from alerts.blanket.setting import BlanketSetting
from alerts.blanket.vessel_watch import Instruments
from alerts.gas.blanket_facts import BlanketPoint
from ingest.reading import ESTIMATED, Quality, Reason, Scale, quality_code
from ingest.store.readings.block import Arrays
from ingest.store.readings.scaling import gains_and_offsets

COARSE_MS: Final = 10 * MINUTE_MS
# The pressure hardly moved if its means of ten minutes differ by no more than this, and its minutes by no more than
# that [kPa]: slower than a leak of 2 kPa an hour, and no step.
_QUIET_STEP_KPA: Final = 0.3
_QUIET_SPREAD_KPA: Final = 0.6
# More scales than any series has.
_MOST_SCALES: Final = 10_000


def is_usable(quality: int) -> bool:
    """Whether a reading of this quality says how the gas is: a good one, or one that was brought in from elsewhere.

    What jumps, stands still, waits to be confirmed, or has no time of its own does not.
    """
    return quality == _IMPORTED or (quality < ESTIMATED and quality & 3 == _GOOD)


_GOOD: Final = int(Quality.GOOD)
_IMPORTED: Final = quality_code(Quality.UNCERTAIN, Reason.IMPORTED)
_USABLE: Final = np.array([is_usable(code) for code in range(2 * ESTIMATED)])


class MinuteArrays(NamedTuple):
    """Means over minutes, oldest first: the minute (as ``MinuteMean`` has it), the mean time [UTC ms], the mean value,
    and which instrument read it by which calibration.
    """

    minute: npt.NDArray[np.int64]
    at_ms: npt.NDArray[np.int64]
    value: npt.NDArray[np.float64]
    instrument: npt.NDArray[np.int64]

    @classmethod
    def empty(cls) -> MinuteArrays:
        """No minutes."""
        integers = np.empty(0, np.int64)
        return cls(integers, integers, np.empty(0, np.float64), integers)


def minute_arrays(pieces: Sequence[tuple[int, Arrays, Sequence[Scale]]]) -> MinuteArrays:
    """Make means of the usable readings of one quantity at one place. pieces: of each series its id, its unscaled
    readings and its scales.
    """
    times, values, instruments = [], [], []
    for series, readings, scales in pieces:
        usable = _USABLE[readings.quality]
        at_ms, number = readings.at_ms[usable], readings.number[usable]
        if not len(at_ms):
            continue
        begins = np.array([scale.from_ms for scale in scales])
        places = np.maximum(np.searchsorted(begins, at_ms, side="right") - 1, 0)
        gains, offsets = gains_and_offsets(at_ms, scales)
        times.append(at_ms)
        values.append(gains * number + offsets)
        instruments.append(instrument_id(series, 0) + places)
    if not times:
        return MinuteArrays.empty()
    at_ms, value, instrument = np.concatenate(times), np.concatenate(values), np.concatenate(instruments)
    if len(times) > 1:
        order = np.argsort(at_ms, kind="stable")
        at_ms, value, instrument = at_ms[order], value[order], instrument[order]
    minute = at_ms // MINUTE_MS
    firsts = _firsts((minute[1:] != minute[:-1]) | (instrument[1:] != instrument[:-1]))
    counts = np.diff(np.append(firsts, len(at_ms)))
    minutes = minute[firsts]
    mean_ms = minutes * MINUTE_MS + np.add.reduceat(at_ms - minute * MINUTE_MS, firsts) // counts
    return MinuteArrays(minutes, mean_ms, np.add.reduceat(value, firsts) / counts, instrument[firsts])


def instrument_id(series: int, calibration: int) -> int:
    """Make one number of a series and of the place of one of its scales among them."""
    return series * _MOST_SCALES + calibration


def joined(
    setting: BlanketSetting,
    pressure: MinuteArrays,
    temperature: MinuteArrays,
    barometer: MinuteArrays,
    room: MinuteArrays,
    hold_ms: tuple[int, int, int],
    fine_from_ms: int,
) -> list[tuple[BlanketPoint, Instruments]]:
    """Join pressures with what else was read then; without a temperature there is no point.

    hold_ms: how long a temperature, an air pressure and a temperature of the room may be old; fine_from_ms: from here
    on each minute is a point of its own.
    """
    celsius, celsius_by = _held(pressure, temperature, hold_ms[0])
    air_kpa, _ = _held(pressure, barometer, hold_ms[1])
    room_c, _ = _held(pressure, room, hold_ms[2])
    known = ~np.isnan(celsius)
    table = _JoinedMinutes(
        pressure.at_ms[known],
        pressure.value[known],
        celsius[known],
        air_kpa[known],
        room_c[known],
        pressure.instrument[known],
        celsius_by[known],
    ).coarser(fine_from_ms)
    return [
        (moment_point(setting, at_ms, kpa, wine_c, _known(air), _known(around)), (by, other))
        for at_ms, kpa, wine_c, air, around, by, other in zip(*(column.tolist() for column in table), strict=True)
    ]


class _JoinedMinutes(NamedTuple):
    """Minutes with all that was read in them; NaN for an air pressure or a room's temperature that is not known."""

    at_ms: npt.NDArray[np.int64]
    pressure_kpa: npt.NDArray[np.float64]
    temperature_c: npt.NDArray[np.float64]
    barometer_kpa: npt.NDArray[np.float64]
    room_c: npt.NDArray[np.float64]
    pressure_by: npt.NDArray[np.int64]
    temperature_by: npt.NDArray[np.int64]

    def coarser(self, before_ms: int) -> _JoinedMinutes:
        """Make one of the minutes of ten in which nothing changed but slowly, before a time."""
        if not len(self.at_ms):
            return self
        span = self.at_ms // COARSE_MS
        changes = span[1:] != span[:-1]
        # What is known at one minute and not at another, or read by another instrument, is never put together.
        for column in (np.isnan(self.barometer_kpa), np.isnan(self.room_c), self.pressure_by, self.temperature_by):
            changes |= column[1:] != column[:-1]
        firsts = _firsts(changes)
        counts = np.diff(np.append(firsts, len(span)))
        means = np.add.reduceat(self.pressure_kpa, firsts) / counts
        spread = np.maximum.reduceat(self.pressure_kpa, firsts) - np.minimum.reduceat(self.pressure_kpa, firsts)
        steps = np.abs(np.diff(means, prepend=means[0], append=means[-1]))
        is_quiet = (np.maximum(steps[1:], steps[:-1]) <= _QUIET_STEP_KPA) & (spread <= _QUIET_SPREAD_KPA)
        is_quiet &= self.at_ms[firsts] < before_ms
        firsts = _firsts(changes | ~np.repeat(is_quiet, counts)[1:])
        counts = np.diff(np.append(firsts, len(span)))

        def mean(column: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
            return np.add.reduceat(column, firsts) / counts

        begins = self.at_ms[firsts]
        return _JoinedMinutes(
            begins + np.add.reduceat(self.at_ms - np.repeat(begins, counts), firsts) // counts,
            mean(self.pressure_kpa),
            mean(self.temperature_c),
            mean(self.barometer_kpa),
            mean(self.room_c),
            self.pressure_by[firsts],
            self.temperature_by[firsts],
        )


def _firsts(changes: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
    """The places at which a new run begins; changes: whether each place but the first differs from the one before."""
    return np.flatnonzero(np.concatenate(([True], changes)))


def moment_point(
    setting: BlanketSetting,
    at_ms: int,
    pressure_kpa: float,
    temperature_c: float,
    barometer_kpa: float | None,
    room_c: float | None,
) -> BlanketPoint:
    """Make a point. pressure_kpa: gauge by the file's scale and calibrations, that is, of an absolute or sealed sensor
    against the mean air pressure; with a barometer it is made gauge here.
    """
    if barometer_kpa is not None and not setting.is_gauge and setting.station_kpa is not None:
        pressure_kpa += setting.station_kpa - barometer_kpa
    return BlanketPoint(at_ms, pressure_kpa, temperature_c, barometer_kpa, room_c)


def _known(value: float) -> float | None:
    return None if value != value else value  # noqa: PLR0124  NaN is not itself


def _held(
    pressure: MinuteArrays, other: MinuteArrays, hold_ms: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """The newest mean of another quantity at each pressure's minute, NaN where it is too old; and who read it."""
    if not len(other.at_ms):
        return np.full(len(pressure.at_ms), np.nan), np.zeros(len(pressure.at_ms), np.int64)
    places = np.searchsorted(other.minute, pressure.minute, side="right") - 1
    there = np.maximum(places, 0)
    is_fresh = (places >= 0) & (pressure.at_ms - other.at_ms[there] <= hold_ms)
    return np.where(is_fresh, other.value[there], np.nan), other.instrument[there]
