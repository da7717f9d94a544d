"""From the readings of a vessel's instruments to the points that its gas is judged by. Pure.

The newest hours are means over minutes, as they are while readings come; what is older is means over ten minutes.
"""

from __future__ import annotations

__all__ = ["COARSE_MS", "Binned", "binned", "is_usable", "joined", "moment_point"]

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from alerts.blanket.minute_means import MINUTE_MS
from alerts.blanket.setting import BlanketSetting
from alerts.blanket.vessel_watch import Instruments
from alerts.gas.blanket_facts import BlanketPoint
from ingest.reading import ESTIMATED, Quality, Reason, Scale, quality_code
from ingest.store.readings.block import Arrays
from ingest.store.readings.scaling import gains_and_offsets

COARSE_MS: Final = 10 * MINUTE_MS


def is_usable(quality: int) -> bool:
    """Whether a reading of this quality says how the gas is: a good one, or one that was brought in from elsewhere.

    What jumps, stands still, waits to be confirmed, or has no time of its own does not.
    """
    return quality == _IMPORTED or (quality < ESTIMATED and quality & 3 == _GOOD)


_GOOD: Final = int(Quality.GOOD)
_IMPORTED: Final = quality_code(Quality.UNCERTAIN, Reason.IMPORTED)
_USABLE: Final = np.array([is_usable(code) for code in range(2 * ESTIMATED)])


class Binned(NamedTuple):
    """Means over spans of time, oldest first: begin_ms and end_ms of each span, the mean time, the mean value, and
    which instrument read it by which calibration.
    """

    begin_ms: npt.NDArray[np.int64]
    end_ms: npt.NDArray[np.int64]
    at_ms: npt.NDArray[np.int64]
    value: npt.NDArray[np.float64]
    instrument: npt.NDArray[np.int64]

    @classmethod
    def empty(cls) -> Binned:
        """No spans."""
        integers = np.empty(0, np.int64)
        return cls(integers, integers, integers, np.empty(0, np.float64), integers)


def binned(pieces: Sequence[tuple[int, Arrays, Sequence[Scale]]], fine_from_ms: int) -> Binned:
    """Make means of the usable readings of one quantity at one place.

    pieces: of each series its id, its unscaled readings and its scales; fine_from_ms: from here on means are over
    minutes, before over ten minutes; a multiple of ten minutes.
    """
    times, values, instruments = [], [], []
    for series, readings, scales in pieces:
        usable = _USABLE[readings.quality]
        at_ms, number = readings.at_ms[usable], readings.number[usable]
        if not len(at_ms):
            continue
        numbers = np.array([instrument_id(series, place) for place in range(max(len(scales), 1))], np.int64)
        if scales:
            begins = np.array([scale.from_ms for scale in scales])
            places = np.maximum(np.searchsorted(begins, at_ms, side="right") - 1, 0)
            gains, offsets = gains_and_offsets(at_ms, scales)
            number = gains * number + offsets
        else:
            places = np.zeros(len(at_ms), np.intp)
        times.append(at_ms)
        values.append(number)
        instruments.append(numbers[places])
    if not times:
        return Binned.empty()
    at_ms, value, instrument = np.concatenate(times), np.concatenate(values), np.concatenate(instruments)
    if len(times) > 1:
        order = np.argsort(at_ms, kind="stable")
        at_ms, value, instrument = at_ms[order], value[order], instrument[order]
    span_ms = np.where(at_ms < fine_from_ms, COARSE_MS, MINUTE_MS)
    begin_ms = at_ms - at_ms % span_ms
    changes = (begin_ms[1:] != begin_ms[:-1]) | (instrument[1:] != instrument[:-1])
    firsts = np.flatnonzero(np.concatenate(([True], changes)))
    counts = np.diff(np.append(firsts, len(at_ms)))
    begins = begin_ms[firsts]
    mean_ms = begins + np.add.reduceat(at_ms - begin_ms, firsts) // counts
    return Binned(
        begins, begins + span_ms[firsts], mean_ms, np.add.reduceat(value, firsts) / counts, instrument[firsts]
    )


def instrument_id(series: int, calibration: int) -> int:
    """Make one number of a series and of the place of one of its scales among them."""
    return series * 10_000 + calibration


def joined(
    setting: BlanketSetting,
    pressure: Binned,
    temperature: Binned,
    barometer: Binned,
    room: Binned,
    hold_ms: tuple[int, int, int],
) -> list[tuple[BlanketPoint, Instruments]]:
    """Join pressures with what else was read then; without a temperature there is no point.

    hold_ms: how long a temperature, an air pressure and a temperature of the room may be old.
    """
    celsius, temperature_by = _held(pressure, temperature, hold_ms[0])
    air_kpa, _ = _held(pressure, barometer, hold_ms[1])
    room_c, _ = _held(pressure, room, hold_ms[2])
    known = ~np.isnan(celsius)
    columns = (pressure.at_ms, pressure.value, celsius, air_kpa, room_c, pressure.instrument, temperature_by)
    return [
        (moment_point(setting, at_ms, kpa, wine_c, _known(air), _known(around)), (by, other))
        for at_ms, kpa, wine_c, air, around, by, other in zip(*(each[known].tolist() for each in columns), strict=True)
    ]


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


def _held(pressure: Binned, other: Binned, hold_ms: int) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """The newest mean of another quantity at each pressure's time, NaN where it is too old; and who read it."""
    if not len(other.at_ms):
        return np.full(len(pressure.at_ms), np.nan), np.zeros(len(pressure.at_ms), np.int64)
    places = np.searchsorted(other.begin_ms, pressure.end_ms, side="left") - 1
    there = np.maximum(places, 0)
    fresh = (places >= 0) & (pressure.at_ms - other.at_ms[there] <= hold_ms)
    return np.where(fresh, other.value[there], np.nan), other.instrument[there]
