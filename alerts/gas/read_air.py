"""The air's pressure over one place, by the barometer that was read there and by what is usual."""

from __future__ import annotations

__all__ = ["ReadAir"]

from typing import Final

# Air pressure is never further than this from its mean at a place.
_WEATHER_KPA: Final = 6.0


class ReadAir:
    """What a barometer showed so far, if there is one. kpa: its newest value, absolute."""

    def __init__(self) -> None:
        self.kpa: float | None = None
        self._mean_kpa = 0.0
        self._count = 0

    def add(self, kpa: float) -> None:
        """Take a reading [kPa absolute]."""
        self.kpa = kpa
        self._count += 1
        self._mean_kpa += (kpa - self._mean_kpa) / self._count

    def or_usual(self, usual_kpa: float) -> float:
        """Give the newest value, or what is usual where none was read [kPa absolute]."""
        return usual_kpa if self.kpa is None else self.kpa

    def usual(self, station_kpa: float) -> float:
        """Give what is usual: what is said to be, if that can be, else the mean of what was read [kPa absolute]."""
        is_likely = self.kpa is None or abs(self._mean_kpa - station_kpa) < _WEATHER_KPA
        return station_kpa if is_likely else self._mean_kpa
