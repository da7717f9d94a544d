"""From a probe's number to our unit, and the pressure of the standard atmosphere."""

from __future__ import annotations

import pytest
from cellar_text import KEG, MQTT, PROBE, SITE, TEMPERATURE, cellar
from hypothesis import given
from hypothesis import strategies as st

from ingest.probes.file_scale import STANDARD_PRESSURE_KPA, file_scale, station_pressure_kpa

# ISO 2533:1975, the table of pressure over geopotential altitude [m, kPa]; the values are from memory.
ISO_2533 = [
    (-500, 107.478),
    (0, 101.325),
    (500, 95.4608),
    (1000, 89.8746),
    (2000, 79.4952),
    (3000, 70.1085),
    (5000, 54.0199),
    (8000, 35.5998),
    (11000, 22.6320),
]

PSI_KPA = 6.894757  # exact: 0.45359237 kg x 9.80665 m/s2 / (0.0254 m)2 = 6894.757 Pa


@pytest.mark.parametrize(("altitude_m", "kpa"), ISO_2533)
def test_the_standard_atmosphere_of_iso_2533(altitude_m: float, kpa: float) -> None:
    assert station_pressure_kpa(altitude_m) == pytest.approx(kpa, rel=2e-5)


@given(st.floats(-500, 11_000), st.floats(-500, 11_000))
def test_pressure_falls_with_altitude(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert station_pressure_kpa(low) >= station_pressure_kpa(high)


@pytest.mark.parametrize("altitude_m", [-500.1, 11_000.1, 1e9, float("nan"), float("inf")])
def test_beyond_its_layer_the_formula_refuses(altitude_m: float) -> None:
    with pytest.raises(ValueError, match="is outside -500 to 11000 m"):
        station_pressure_kpa(altitude_m)


def _scale(probe: str, *, altitude: str = "", site: str = SITE) -> tuple[float, float]:
    found = cellar(site + (f'altitude = "{altitude}"\n' if altitude else ""), MQTT, KEG, probe)
    return file_scale(found.probe[0], found.site.altitude_m)


def test_a_gauge_needs_no_altitude_and_is_not_changed_by_it() -> None:
    assert _scale(PROBE) == (1.0, 0.0)
    assert _scale(PROBE, altitude="340 m") == (1.0, 0.0)
    gain, offset = _scale(PROBE.replace('"kPa"', '"psi"'))
    assert (gain, offset) == pytest.approx((PSI_KPA, 0.0), rel=1e-6)


def test_a_temperature_is_not_moved_by_the_altitude() -> None:
    assert _scale(TEMPERATURE, altitude="2000 m") == (1.0, 0.0)
    gain, offset = _scale(TEMPERATURE.replace("degC", "degF"), altitude="2000 m")
    for fahrenheit, celsius in [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0)]:
        assert gain * fahrenheit + offset == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize("unit", ["kPa", "psi", "bar", "mbar"])
@pytest.mark.parametrize("altitude_m", [0, 340, 2000])
def test_an_absolute_sensor_in_an_open_vessel_reads_zero_gauge(unit: str, altitude_m: int) -> None:
    """Worked example: at 2000 m an absolute sensor in open air says 79.4952 kPa; the blanket is then 0 kPa gauge."""
    probe = PROBE.replace('"kPa"', f'"{unit}"') + 'reference = "absolute"\n'
    gain, offset = _scale(probe, altitude=f"{altitude_m} m")
    per_kpa = {"kPa": 1.0, "psi": 1 / PSI_KPA, "bar": 0.01, "mbar": 10.0}[unit]
    assert gain * station_pressure_kpa(altitude_m) * per_kpa + offset == pytest.approx(0.0, abs=1e-4)


def test_a_sealed_sensor_counts_from_the_standard_atmosphere() -> None:
    """Sealed at 101.325 kPa, in open air at 2000 m it says 79.4952 - 101.325 = -21.83 kPa, which is 0 kPa gauge."""
    sealed = PROBE + 'reference = "sealed"\n'
    assert _scale(sealed, altitude="0 m") == pytest.approx((1.0, 0.0), abs=1e-12)
    gain, offset = _scale(sealed, altitude="2000 m")
    assert gain * (79.4952 - STANDARD_PRESSURE_KPA) + offset == pytest.approx(0.0, abs=2e-3)


@pytest.mark.parametrize("reference", ["absolute", "sealed"])
def test_without_an_altitude_nothing_is_guessed(reference: str) -> None:
    probe = cellar(SITE + 'altitude = "340 m"\n', MQTT, KEG, PROBE + f'reference = "{reference}"\n').probe[0]
    with pytest.raises(ValueError, match=rf"probe k1-pressure: an {reference} sensor needs \[site\] altitude"):
        file_scale(probe, None)
