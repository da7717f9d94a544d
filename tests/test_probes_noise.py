"""Noise before, behind and inside of what a probe sends: the reading comes out as it was sent, or not at all."""

from __future__ import annotations

from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples import NOW, a_binding, a_json_binding, a_sample

from ingest.cellar import Counts, Dimension, LinePattern, Signal
from ingest.probes.decode import Binding, Decoded, Decoder
from ingest.sources.framing import LineFramer
from ingest.sources.json_form import JsonPointer
from ingest.sources.sample import Sample


class Form(NamedTuple):
    """A probe, what it sends, and the number that this is."""

    binding: Binding
    payload: bytes
    number: float


RATIO = Signal.parse("0.5-4.5 V of 5 V = 0-30 psi")
FORMS = {
    "plain": Form(a_binding(), b"-21.5e0", -21.5),
    "comma": Form(a_binding(decimal=","), b"21,5", 21.5),
    "counts": Form(
        a_binding(signal=Signal.parse("4-20 mA = 0-30 psi"), counts=Counts.parse("0-4000 = 0-20 mA")), b"2400", 15.0
    ),
    "json": Form(a_json_binding("/gas/kPa"), b'{"gas": {"kPa": 21.5}}', 21.5),
    "json with time": Form(
        a_json_binding("/p", time_pointer="/at"), b'{"at": "2026-11-25T18:30:00Z", "p": 21.5}', 21.5
    ),
    "json with supply": Form(
        a_json_binding("/v", signal=RATIO, supply_pointer=JsonPointer.parse("/s")), b'{"v":2.5,"s":5}', 15.0
    ),
    "senml": Form(
        a_binding(form="senml", name="urn:k1:t", dimension=Dimension.TEMPERATURE, unit="degC"),
        b'[{"bn":"urn:k1:","bt":1.7955e9},{"n":"t","u":"Cel","v":21.5}]',
        21.5,
    ),
    "w1": Form(
        a_binding(form="w1", source="w1", address="28-3c01f0964f2b"),
        b"91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\n91 01 4b 46 7f ff 0c 10 70 t=25062\n",
        25.062,
    ),
    "line": Form(
        a_binding(form="line", source="bench", address="bench", pattern=LinePattern("K1 T=(?P<value>[-+0-9.]+) C")),
        b"K1 T=21.5 C",
        21.5,
    ),
    "line with supply": Form(
        a_binding(
            form="line",
            source="bench",
            address="bench",
            pattern=LinePattern("V=(?P<value>[0-9.]+);(?P<supply>[0-9.]+);"),
            signal=RATIO,
        ),
        b"V=2.5;5;",
        15.0,
    ),
}
LINES = ("line", "line with supply")

# Digits, signs and blanks beside a number make another number of it, and nobody can know better.
NOISE = st.lists(
    st.sampled_from([byte for byte in range(256) if byte not in b"0123456789+-., \t\r\neE"]), max_size=8
).map(bytes)
every_form = pytest.mark.parametrize("name", FORMS)
every_line = pytest.mark.parametrize("name", LINES)


def sample_of(form: Form, payload: bytes) -> Sample:
    return a_sample(payload, form.binding.address, source=form.binding.source, arrival_ms=NOW)


def decode(form: Form, payload: bytes) -> Decoded:
    decoded = Decoder([form.binding]).decode(sample_of(form, payload))
    assert decoded.readings or decoded.refusals
    return decoded


@every_form
def test_what_is_sent_comes_out(name: str) -> None:
    readings, refusals = decode(FORMS[name], FORMS[name].payload)
    assert ([round(reading.number, 9) for reading in readings], refusals) == ([FORMS[name].number], [])


@every_form
@given(before=NOISE, behind=NOISE)
def test_noise_around_it_is_refused(name: str, before: bytes, behind: bytes) -> None:
    form = FORMS[name]
    readings, refusals = decode(form, before + form.payload + behind)
    if before or behind:
        assert readings == []
        assert len(refusals) == 1
    else:
        assert refusals == []


@every_form
@given(st.data())
def test_a_byte_that_is_wrong_makes_no_error(name: str, data: st.DataObject) -> None:
    form = FORMS[name]
    place = data.draw(st.integers(0, len(form.payload) - 1))
    payload = bytearray(form.payload)
    payload[place] = data.draw(st.integers(0, 255))
    decoded = decode(form, bytes(payload))
    assert all(reading.number - reading.number == 0 for reading in decoded.readings)
    assert all(refusal.reason and refusal.found.isprintable() for refusal in decoded.refusals)


@pytest.mark.parametrize("name", ["json", "json with time", "json with supply", "senml"])
def test_a_document_that_ends_too_soon_is_none(name: str) -> None:
    form = FORMS[name]
    for end in range(len(form.payload)):
        readings, refusals = decode(form, form.payload[:end])
        assert readings == []
        assert len(refusals) == 1


@every_line
@given(
    before=st.binary(max_size=300),
    behind=st.binary(max_size=300),
    terminator=st.sampled_from([b"\n", b"\r\n", b"\r", b"\n\r"]),
    fresh=st.booleans(),
)
def test_a_line_among_noise_is_read_byte_by_byte(
    name: str, before: bytes, behind: bytes, terminator: bytes, fresh: bool
) -> None:
    form, decoder, framer = FORMS[name], Decoder([FORMS[name].binding]), LineFramer(64, fresh=fresh)
    stream = before + terminator + form.payload + terminator + behind + terminator
    decoded = [decoder.decode(sample_of(form, line)) for byte in stream for line in framer.feed(bytes([byte]))]
    assert all(each.readings or each.refusals for each in decoded)
    assert [round(reading.number, 9) for each in decoded for reading in each.readings] == [form.number]


@every_line
@given(before=NOISE, behind=NOISE)
def test_noise_inside_the_line_costs_that_line_only(name: str, before: bytes, behind: bytes) -> None:
    form, decoder, framer = FORMS[name], Decoder([FORMS[name].binding]), LineFramer(64, fresh=False)
    stream = b"".join([before, form.payload, behind, b"\r\n", form.payload, b"\r\n"])
    decoded = [decoder.decode(sample_of(form, line)) for byte in stream for line in framer.feed(bytes([byte]))]
    spoilt = bool(before or behind)
    assert [len(each.readings) for each in decoded] == [0 if spoilt else 1, 1]
