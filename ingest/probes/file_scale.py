"""The scale that a cellar file gives to a probe: from its number to our unit, pressure always as gauge."""

from __future__ import annotations

__all__ = ["STANDARD_PRESSURE_KPA", "file_scale", "station_pressure_kpa"]

from ingest.cellar import Probe, series_unit_conversion

# Standard atmosphere at sea level, exact (ISO 2533:1975).
STANDARD_PRESSURE_KPA = 101.325


def station_pressure_kpa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere at an altitude [kPa absolute].

    altitude_m: height above sea level [m], -500 to 11,000 m.

    p = p0 (1 - L h / T0)^(g M / (R L)) with p0 = 101.325 kPa, L = 6.5 K/km, T0 = 288.15 K; the exponent is 5.25588.
    The weather moves the true pressure by about 3 kPa around it. Source: ISO 2533:1975, the layer up to 11 km.
    Raises ValueError outside the range.
    """
    if not -500.0 <= altitude_m <= 11_000.0:
        raise ValueError(f"altitude {altitude_m:g} m is outside -500 to 11000 m")
    return float(STANDARD_PRESSURE_KPA * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588)


def file_scale(probe: Probe, altitude_m: float | None) -> tuple[float, float]:
    """(gain, offset) such that gain x number + offset is the probe's value in the quantity's unit.

    A blanket's pressure is kept as gauge: from an absolute sensor the station pressure is taken off, a sealed one
    (closed at the standard atmosphere) is moved by the difference. Both need the altitude [m].
    """
    gain, offset = series_unit_conversion(probe.quantity, probe.unit)
    if probe.quantity == "pressure" and probe.reference != "gauge":
        if altitude_m is None:
            raise ValueError(f"probe {probe.id}: an {probe.reference} sensor needs [site] altitude")
        station = station_pressure_kpa(altitude_m)
        offset -= station if probe.reference == "absolute" else station - STANDARD_PRESSURE_KPA
    return gain, offset
