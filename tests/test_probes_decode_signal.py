"""From the wire of a transmitter to a reading: the signal of the cellar file, through binding and decoder."""

from __future__ import annotations

import json
import math

import pytest
from cellar_text import KEG, MQTT, SITE, cellar
from hypothesis import given
from hypothesis import strategies as st
from samples import a_sample

from ingest.probes.binding import bindings, declarations
from ingest.probes.decode import Decoded, DecodedReading, Decoder, Refusal
from ingest.reading import Quality, Reason, quality_code

GOOD = quality_code(Quality.GOOD)
FAULT = quality_code(Quality.BAD, Reason.FAULT)
OUT_OF_RANGE = quality_code(Quality.BAD, Reason.OUT_OF_RANGE)
SATURATED = quality_code(Quality.UNCERTAIN, Reason.SATURATED)
SUPPLY = quality_code(Quality.UNCERTAIN, Reason.FAULT)
RAIL = quality_code(Quality.BAD, Reason.RAIL)

_SERIAL = '[[serial]]\nid = "bench"\ndevice = "/dev/ttyUSB0"\n'
_RATIO = 'signal = "0.5-4.5 V of 5 V = 0-6 bar"\n'
_TOPIC = 'topic = "k1/p"\n'
_BOX = _TOPIC + 'payload = "json"\npointer = "/v"\n'
_LINE = "serial = \"bench\"\npattern = 'P=(?P<value>[-0-9.]+)(?: S=(?P<supply>[-0-9.]*))?'\n"


def _decoder(keys: str, quantity: str = "pressure") -> Decoder:
    probe = f'[[probe]]\nid = "p"\nat = "K1"\nquantity = "{quantity}"\n' + keys
    return Decoder(bindings(cellar(SITE, MQTT, _SERIAL, KEG, probe), {"p": 1}))


def _decode(decoder: Decoder, payload: str, *, retained: bool = False) -> Decoded:
    source, address = ("bench", "bench") if payload.startswith("P=") else ("mqtt", "k1/p")
    return decoder.decode(a_sample(payload, address, source=source, retained=retained))


def _decoded(decoder: Decoder, payload: str) -> tuple[float, int]:
    (reading,), refusals = _decode(decoder, payload)
    assert refusals == []
    assert (reading.series, reading.own_ms) == (1, None)
    return round(reading.number, 9), reading.quality


def test_a_label_says_scale_and_unit() -> None:
    """1 psi = 6.894757 kPa; what is stored is psi, and the scale makes kPa of it."""
    probe = '[[probe]]\nid = "p"\nat = "K1"\nquantity = "pressure"\n' + _TOPIC + 'signal = "4-20 mA = 0-30 psi"\n'
    (declared,) = declarations(cellar(SITE, MQTT, KEG, probe))
    assert declared.gain == pytest.approx(6.894757)
    assert (declared.offset, declared.unit) == (0.0, "psi")


def test_plain_milliamperes() -> None:
    decoder = _decoder(_TOPIC + 'signal = "4-20 mA = 0-30 psi"\n')
    assert _decoded(decoder, "12") == (15.0, GOOD)
    assert _decoded(decoder, "3.7") == (-0.5625, SATURATED)
    assert _decoded(decoder, "3.5") == (-0.9375, FAULT)
    assert _decode(decoder, "x") == Decoded([], [Refusal("p", "not a number", "x")])
    assert _decode(decoder, "12", retained=True).refusals[0].reason == "retained without a time of its own"


def test_what_cannot_be_is_judged_in_the_labels_number() -> None:
    """Plausible are -100 to 1000 kPa, so -1 to 10 bar; a fault that the signal tells of goes before."""
    decoder = _decoder(_TOPIC + 'signal = "4-20 mA = 0-40 bar"\n')
    assert _decoded(decoder, "8") == (10.0, GOOD)
    assert _decoded(decoder, "8.01") == (10.025, OUT_OF_RANGE)
    assert _decoded(decoder, "3.7") == (-0.75, SATURATED)
    assert _decoded(decoder, "20.6") == (41.5, OUT_OF_RANGE)
    assert _decoded(decoder, "22") == (45.0, FAULT)


def test_ohms_of_a_pt100() -> None:
    """IEC 60751: 100 ohm are 0 °C, 138.5055 ohm are 100 °C, which no cellar has."""
    decoder = _decoder(_TOPIC + 'signal = "Pt100"\n', "temperature")
    assert _decoded(decoder, "100") == (0.0, GOOD)
    assert _decoded(decoder, "138.5055")[1] == OUT_OF_RANGE
    assert _decoded(decoder, "5000") == (850.0, FAULT)


def test_counts() -> None:
    decoder = _decoder(_TOPIC + _RATIO + 'counts = "0-4000 = 0-5 V"\n')
    assert _decoded(decoder, "2000") == (3.0, GOOD)
    assert _decoded(decoder, "4000")[1] == RAIL
    assert _decoded(decoder, "0")[1] == RAIL
    line = "serial = \"bench\"\npattern = 'P=(?P<value>[0-9]+)'\n"
    assert _decoded(_decoder(line + _RATIO + 'counts = "0-4000 = 0-5 V"\n'), "P=2000") == (3.0, GOOD)


def test_the_supply_in_json() -> None:
    """2.45 V of 4.90 V on 0-6 bar are 3.000 bar, not 2.925."""
    measured, nominal = _decoder(_BOX + _RATIO + 'supply_pointer = "/s"\n'), _decoder(_BOX + _RATIO)
    assert _decoded(measured, '{"v": 2.45, "s": 4.9}') == (3.0, GOOD)
    assert _decoded(measured, '{"v": 2.2, "s": 4.4}') == (3.0, SUPPLY)
    assert _decoded(nominal, '{"v": 2.45, "s": 4.9}') == (2.925, GOOD)


@pytest.mark.parametrize("supply", ["", ', "s": null', ', "s": "5"', ', "s": 0', ', "s": -5'])
def test_a_declared_supply_that_is_not_there_gives_no_reading(supply: str) -> None:
    readings, refusals = _decode(_decoder(_BOX + _RATIO + 'supply_pointer = "/s"\n'), f'{{"v": 2.45{supply}}}')
    assert readings == []
    assert [(refusal.probe, refusal.reason) for refusal in refusals] == [("p", "no supply voltage")]


def test_the_supply_in_a_line() -> None:
    decoder = _decoder(_LINE + _RATIO)
    assert _decoded(decoder, "P=2.45 S=4.90") == (3.0, GOOD)
    for text in ("P=2.45", "P=2.45 S=", "P=2.45 S=-", "P=2.45 S=0"):
        assert _decode(decoder, text) == Decoded([], [Refusal("p", "no supply voltage", text)])
    without = _decoder(_LINE.replace("(?: S=(?P<supply>[-0-9.]*))?", "") + _RATIO)
    assert _decoded(without, "P=2.45") == (2.925, GOOD)


_ALL = [
    _decoder(_BOX + _RATIO + 'supply_pointer = "/s"\n'),
    _decoder(_BOX + 'signal = "4-20 mA = 0-30 psi"\ncounts = "0-4095 = 0-25 mA"\n'),
    _decoder(_BOX + 'signal = "Pt1000"\n', "temperature"),
]


@given(st.sampled_from(_ALL), st.floats() | st.integers(), st.none() | st.floats() | st.integers())
def test_any_numbers_give_one_finite_reading_or_one_reason(
    decoder: Decoder, number: float, supply: float | None
) -> None:
    readings, refusals = _decode(decoder, json.dumps({"v": number, "s": supply}))
    assert len(readings) + len(refusals) == 1
    assert all(isinstance(reading, DecodedReading) and math.isfinite(reading.number) for reading in readings)
