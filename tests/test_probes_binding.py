"""What a cellar file says of its probes, in the terms of the wire and of the store."""

from __future__ import annotations

import pytest
from cellar_text import KEG, MQTT, PROBE, SITE, TEMPERATURE, cellar, cylinder, probe, room, serial, temperature
from samples import a_sample

from ingest.probes.binding import bindings, declarations
from ingest.probes.decode import Decoder

SERIAL = serial("/dev/ttyUSB0", "bench", baud=9600, encoding="latin-1")
LINE = temperature(topic=None, serial="bench", pattern="T=(?P<value>[0-9,]+)", decimal=",")


def test_each_probe_is_declared_with_its_scale_and_names() -> None:
    found = declarations(cellar(SITE, MQTT, KEG, PROBE.replace('"kPa"', '"bar"'), TEMPERATURE))
    assert [item[:3] for item in found] == [("k1-pressure", "K1", "pressure"), ("k1-temperature", "K1", "temperature")]
    assert [(item.gain, item.offset, item.unit) for item in found] == [(100.0, 0.0, "bar"), (1.0, 0.0, "degC")]
    assert [(item.former_probe, item.former_place) for item in found] == [
        ("k1-pressure", "K1"),
        ("k1-temperature", "K1"),
    ]


def test_was_of_probe_and_place_goes_along() -> None:
    (item,) = declarations(cellar(SITE, MQTT, KEG + 'was = "keg-1"\n', PROBE + 'was = "old-pressure"\n'))
    assert (item.probe, item.place, item.former_probe, item.former_place) == (
        "k1-pressure",
        "K1",
        "old-pressure",
        "keg-1",
    )


def test_a_plain_probe_a_box_and_a_line() -> None:
    box = PROBE + 'payload = "json"\npointer = "/gas/kPa"\ntime_pointer = "/at"\n'
    found = bindings(cellar(SITE, MQTT, SERIAL, KEG, box, LINE), {"k1-pressure": 4, "k1-temperature": 7})
    first, second = found
    assert (first.probe, first.series, first.source, first.address, first.form) == (
        "k1-pressure",
        4,
        "mqtt",
        "k1/p",
        "json",
    )
    assert (str(first.pointer), str(first.time_pointer), first.pattern) == ("/gas/kPa", "/at", None)
    assert (second.series, second.source, second.address, second.form) == (7, "bench", "bench", "line")
    assert (second.decimal, second.encoding, second.pointer) == (",", "iso8859-1", None)
    decoder = Decoder(found)
    assert decoder.decode(a_sample("T=12,5", "bench", source="bench")).readings[0][:3] == (7, None, 12.5)
    (plain,) = bindings(cellar(SITE, MQTT, KEG, PROBE), {"k1-pressure": 1})
    assert (plain.form, plain.pointer, plain.time_pointer) == ("plain", None, None)


@pytest.mark.parametrize(
    ("unit", "low", "high"),
    [("kPa", -100.0, 1000.0), ("bar", -1.0, 10.0), ("psi", -14.5038, 145.038), ("mbar", -1000.0, 10000.0)],
)
def test_the_plausible_range_is_told_in_the_wires_numbers(unit: str, low: float, high: float) -> None:
    (found,) = bindings(cellar(SITE, MQTT, KEG, PROBE.replace('"kPa"', f'"{unit}"')), {"k1-pressure": 1})
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-5)


def test_the_plausible_range_moves_with_an_absolute_sensor() -> None:
    absolute = PROBE + 'reference = "absolute"\n'
    (found,) = bindings(cellar(SITE + 'altitude = "0 m"\n', MQTT, KEG, absolute), {"k1-pressure": 1})
    assert (found.low, found.high) == pytest.approx((1.325, 1101.325))


def test_a_cylinder_has_its_own_plausible_range() -> None:
    (found,) = bindings(cellar(SITE, MQTT, cylinder(), PROBE.replace('"K1"', '"N2"')), {"k1-pressure": 1})
    assert (found.low, found.high) == (0.0, 35000.0)


def test_fahrenheit_is_compared_as_fahrenheit() -> None:
    (found,) = bindings(cellar(SITE, MQTT, KEG, TEMPERATURE.replace("degC", "degF")), {"k1-temperature": 1})
    assert (found.low, found.high) == pytest.approx((-22.0, 140.0))


def test_a_barometer_in_a_room() -> None:
    barometer = probe("air", "cellar", quantity="barometric_pressure", topic="air", unit="hPa")
    found = cellar(SITE, MQTT, room(), barometer)
    (item,) = declarations(found)
    assert (item.gain, item.offset) == pytest.approx((0.1, 0.0))
    assert item.unit == "hPa"
    (bound,) = bindings(found, {"air": 1})
    assert (bound.low, bound.high) == pytest.approx((500.0, 1100.0))
