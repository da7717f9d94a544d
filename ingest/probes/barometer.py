"""What a barometer in the cellar takes off absolute and sealed sensors, as dated parts of their scales.

Without a barometer such a sensor is reduced by the standard atmosphere at the cellar's altitude; the weather moves the
true pressure by some 3 kPa around that (common practice, no source), as much as a blanket's last reserve. With one, the
difference is followed in steps small enough not to matter.
"""

from __future__ import annotations

__all__ = ["STEP_KPA", "Barometers"]

from collections.abc import Iterable, Mapping
from typing import Final

from ingest.probes.file_scale import station_pressure_kpa
from ingest.reading import Part, Quality, Row, quality_class

# A new part of the scale for each change of the weather by this much.
STEP_KPA: Final = 0.05


class Barometers:
    """Follows barometers.

    followed: the barometer's series -> the series whose scale it moves; scales: the barometer's series -> (gain,
    offset) that make kPa absolute of its number; names: the barometer's series -> its probe's id.
    """

    def __init__(
        self,
        altitude_m: float,
        followed: Mapping[int, tuple[int, ...]],
        scales: Mapping[int, tuple[float, float]],
        names: Mapping[int, str],
        last_kpa: Mapping[int, float] | None = None,
    ) -> None:
        self._standard = station_pressure_kpa(altitude_m)
        self._followed = followed
        self._scales = scales
        self._names = names
        self._last = dict(last_kpa or {})

    def parts(self, rows: Iterable[Row]) -> list[tuple[int, Part]]:
        """(series, part) for each scale that the rows of a barometer move."""
        found: list[tuple[int, Part]] = []
        for series, at_ms, number, quality in rows:
            following = self._followed.get(series)
            if following is None or quality_class(quality) is not Quality.GOOD:
                continue
            gain, offset = self._scales[series]
            station = gain * number + offset
            if abs(station - self._last.get(series, float("inf"))) < STEP_KPA:
                continue
            self._last[series] = station
            part = Part(at_ms, "barometer", 1.0, self._standard - station, "kPa", f"barometer {self._names[series]}")
            found += [(moved, part) for moved in following]
        return found
