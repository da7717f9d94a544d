"""Pressures, temperatures and weighings of a cylinder, from the probes and from what people wrote down."""

from __future__ import annotations

__all__ = ["CylinderReadings", "HandReading", "ReadCylinder", "Weighing"]

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from alerts.cylinders.written import written_measurements
from alerts.gas.cylinder_amounts import USUAL_GAUGE, CylinderPoint, Gauge, Thermometer
from alerts.gas.gases import ATMOSPHERE_KPA
from ingest.cellar import Cellar, Cylinder, Probe, UnitError, series_unit_conversion
from ingest.store import Store
from ingest.store.readings.series import Series, all_series
from ingest.store.readings.summaries import summary
from ingest.store.readings.summary import Summary

_HOUR_MS: Final = 3_600_000
_DAY_MS: Final = 24 * _HOUR_MS
# So far back a use is looked for: by probes, by what people wrote.
_PROBED_DAYS: Final = 29
_WRITTEN_DAYS: Final = 121
# A temperature holds for a pressure that was read so long before or after it.
_TEMPERATURE_MS: Final = 3 * _HOUR_MS
# A gauge that always shows the same number is read in steps of this, or stuck.
_COARSE_KPA: Final = 1000.0
_ROUNDING_KPA: Final = 1e-6


class HandReading(NamedTuple):
    """A pressure that a person read off a dial: kPa gauge, with its standard uncertainty where one was given."""

    at_ms: int
    pressure_kpa: float
    u_kpa: float | None


class Weighing(NamedTuple):
    """What a weighing made of a cylinder's content [kg], with the weight's standard uncertainty where it was given."""

    at_ms: int
    content_kg: float
    u_kg: float | None


@dataclass(frozen=True, slots=True)
class ReadCylinder:
    """What is known of a cylinder up to a time.

    points: pressures, one for each hour of a probe, else each that a person read; gauge: what read them; thermometer:
    where the temperatures are from; newest_ms: up to when the newest hour goes, None without one; every_s: how often
    its probe reports, None for a person's readings; weighings: in the order of their times.
    """

    points: tuple[CylinderPoint, ...] = ()
    gauge: Gauge = USUAL_GAUGE
    thermometer: Thermometer = ""
    newest_ms: int | None = None
    every_s: float | None = None
    weighings: tuple[Weighing, ...] = ()


class _Temperatures(NamedTuple):
    """Hourly temperatures of a place. at_ms: middles of the hours; celsius: their means."""

    at_ms: np.ndarray[tuple[int], np.dtype[np.int64]]
    celsius: np.ndarray[tuple[int], np.dtype[np.float64]]

    def at(self, moment_ms: int) -> float | None:
        """Give the temperature at a time, between those before and after it; None where none is near."""
        if not len(self.at_ms):
            return None
        nearest = int(np.abs(self.at_ms - moment_ms).min())
        return float(np.interp(moment_ms, self.at_ms, self.celsius)) if nearest <= _TEMPERATURE_MS else None


class CylinderReadings:
    """Reads cylinders; use it inside ``store.read()``, so that all is of one moment."""

    def __init__(self, cellar: Cellar, store: Store) -> None:
        self._cellar = cellar
        self._store = store
        self._series = {(row.probe, row.place, row.quantity): row for row in all_series(store)}

    def of(self, cylinder: Cylinder, now_ms: int) -> ReadCylinder:
        """Read a cylinder as of a time (UTC ms)."""
        by_hand, weighings = self._written(cylinder, now_ms)
        from_ms = now_ms - (_PROBED_DAYS if not by_hand else _WRITTEN_DAYS) * _DAY_MS
        thermometer, temperatures = self._temperatures(cylinder, from_ms, now_ms)
        probed = self._probed(cylinder, now_ms)
        if probed is not None:
            probe, hours = probed
            gauge = Gauge(_span_kpa(probe), _resolution_kpa(hours))
            off = ATMOSPHERE_KPA if probe.reference == "absolute" else 0.0
            newest_ms = min(int(hours.from_ms[-1]) + _HOUR_MS, now_ms)
            middles = np.minimum(hours.from_ms + _HOUR_MS // 2, now_ms)
            pressures = zip(middles.tolist(), (hours.mean - off).tolist(), strict=True)
            points = _points(pressures, temperatures)
            return ReadCylinder(points, gauge, thermometer, newest_ms, probe.every_s, weighings)
        if by_hand:
            given = [reading.u_kpa for reading in by_hand]
            known = [u_kpa for u_kpa in given if u_kpa is not None]
            gauge = Gauge(by_hand=True, u_read_kpa=max(known) if len(known) == len(given) else None)
            points = _points(((reading.at_ms, reading.pressure_kpa) for reading in by_hand), temperatures)
            return ReadCylinder(points, gauge, thermometer, by_hand[-1].at_ms, None, weighings)
        return ReadCylinder(thermometer=thermometer, weighings=weighings)

    def _probed(self, cylinder: Cylinder, now_ms: int) -> tuple[Probe, Summary] | None:
        """The probe of the cylinder's pressure with its hours; of several the one that reads most, since another one
        sits behind the regulator.
        """
        found: list[tuple[float, Probe, Summary]] = []
        for probe, series in self._living(cylinder.id, "pressure"):
            hours = self._hours(series, now_ms - _PROBED_DAYS * _DAY_MS, now_ms)
            if len(hours.from_ms):
                found.append((float(hours.mean[-1]), probe, hours))
        best = max(found, key=lambda each: each[0], default=None)
        return None if best is None else best[1:]

    def _temperatures(self, cylinder: Cylinder, from_ms: int, now_ms: int) -> tuple[Thermometer, _Temperatures]:
        """Hourly temperatures of the cylinder itself, else of its room: whichever has one within the last day."""
        places: list[tuple[Thermometer, str | None]] = [("cylinder", cylinder.id), ("room", cylinder.room)]
        for thermometer, place in places:
            for _, series in () if place is None else self._living(place, "temperature"):
                hours = self._hours(series, from_ms, now_ms)
                if len(hours.from_ms) and hours.from_ms[-1] >= now_ms - _DAY_MS:
                    return thermometer, _Temperatures(hours.from_ms + _HOUR_MS // 2, hours.mean)
        return "", _Temperatures(np.empty(0, np.int64), np.empty(0))

    def _living(self, place: str, quantity: str) -> Iterable[tuple[Probe, Series]]:
        for probe in self._cellar.probes_at(place):
            series = self._series.get((probe.id, place, quantity))
            if probe.quantity == quantity and series is not None:
                yield probe, series

    def _hours(self, series: Series, from_ms: int, now_ms: int) -> Summary:
        """The hours of a series that have usable readings."""
        hours = summary(self._store, series.id, from_ms - from_ms % _HOUR_MS, now_ms + 1, "hour")
        return hours.part(hours.readings > 0)

    def _written(self, cylinder: Cylinder, now_ms: int) -> tuple[list[HandReading], tuple[Weighing, ...]]:
        by_hand, weighings = [], []
        for at_ms, body in written_measurements(self._store, cylinder, now_ms, now_ms - _WRITTEN_DAYS * _DAY_MS):
            if body.quantity == "pressure":
                by_hand.append(HandReading(at_ms, body.value, body.u_value))
            elif body.content_kg is not None:
                weighings.append(Weighing(at_ms, body.content_kg, body.u_value))
        return by_hand, tuple(weighings)


def _points(pressures: Iterable[tuple[int, float]], temperatures: _Temperatures) -> tuple[CylinderPoint, ...]:
    return tuple(CylinderPoint(at_ms, kpa, temperatures.at(at_ms)) for at_ms, kpa in pressures)


def _span_kpa(probe: Probe) -> float:
    """The span of a transmitter's signal, else of a usual gauge."""
    usual = USUAL_GAUGE.span_kpa
    if probe.signal is None or probe.signal.kind == "platinum":
        return usual
    try:
        gain, _ = series_unit_conversion("pressure", probe.signal.unit)
    except UnitError:
        return usual
    return abs(gain * (probe.signal.high - probe.signal.low))


def _resolution_kpa(hours: Summary) -> float:
    """The step of a gauge: the least difference between numbers that it has shown."""
    shown = np.unique(np.concatenate((hours.low, hours.high)))
    steps = np.diff(shown)
    steps = steps[steps > _ROUNDING_KPA]
    return float(steps.min()) if len(steps) else _COARSE_KPA
