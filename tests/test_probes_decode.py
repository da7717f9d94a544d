"""Which probe takes a sample, and what it makes of it."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples import NOW, a_binding, a_json_binding, a_sample

from ingest.cellar import LinePattern
from ingest.probes.decode import AHEAD_MS, MOST_AHEAD_MS, Binding, Decoded, DecodedReading, Decoder, Refusal
from ingest.reading import Quality, Reason, quality_code
from ingest.times import EARLIEST_MS

GOOD = quality_code(Quality.GOOD)
CLOCK = quality_code(Quality.UNCERTAIN, Reason.CLOCK)
OUT_OF_RANGE = quality_code(Quality.BAD, Reason.OUT_OF_RANGE)


def _line(pattern: str, **changes: Any) -> Binding:
    settings: dict[str, Any] = {"source": "bench", "address": "bench", "form": "line", "pattern": LinePattern(pattern)}
    return a_binding(**{**settings, **changes})


def _decoded(binding: Binding, payload: bytes | str, **changes: Any) -> DecodedReading:
    """The one reading that a probe makes of a payload at its address."""
    sample = a_sample(payload, binding.address, source=binding.source)._replace(**changes)
    readings, refusals = Decoder([binding]).decode(sample)
    assert refusals == []
    (reading,) = readings
    return reading


def _refused(binding: Binding, payload: bytes | str, **changes: Any) -> Refusal:
    sample = a_sample(payload, binding.address, source=binding.source)._replace(**changes)
    readings, refusals = Decoder([binding]).decode(sample)
    assert readings == []
    (refusal,) = refusals
    return refusal


# ---- plain ---------------------------------------------------------------------------------------------------------


def test_a_plain_number_is_a_reading_without_a_time() -> None:
    assert _decoded(a_binding(), " 55.2\r\n") == DecodedReading(1, None, 55.2, GOOD)
    assert _decoded(a_binding(decimal=","), "55,2").number == 55.2


@pytest.mark.parametrize(
    ("number", "quality"),
    [(-100.0, GOOD), (1000.0, GOOD), (-100.001, OUT_OF_RANGE), (1000.001, OUT_OF_RANGE)],
)
def test_the_plausible_range_has_its_ends(number: float, quality: int) -> None:
    assert _decoded(a_binding(), str(number)).quality == quality
    assert _decoded(a_json_binding("/p"), json.dumps({"p": number})).quality == quality
    assert _decoded(_line("(?P<value>.*)"), str(number)).quality == quality


def test_a_payload_that_is_no_number_is_named_with_its_probe() -> None:
    assert _refused(a_binding(), "abc") == Refusal("k1-pressure", "not a number", "abc")
    assert _refused(a_binding(), b"\xff\x00\x1b[31m").found == "\\xff\\x00\\x1b[31m"
    assert _refused(a_binding(), "x" * 500).found == "x" * 60 + "..."


def test_a_retained_bare_number_is_of_unknown_age() -> None:
    refusal = Refusal("k1-pressure", "retained without a time of its own", "55.2")
    assert _refused(a_binding(), "55.2", retained=True) == refusal


def test_what_no_probe_takes_is_named_as_nobodys() -> None:
    decoder = Decoder([a_binding()])
    nobody = Decoded([], [Refusal("", "no probe takes this address", "5")])
    assert decoder.decode(a_sample("5", "k1/t")) == nobody
    assert decoder.decode(a_sample("5", "k1/p", source="bench")) == nobody
    assert Decoder([]).decode(a_sample("5")) == nobody


# ---- JSON ----------------------------------------------------------------------------------------------------------


def test_each_probe_of_a_box_takes_its_own_number_and_fails_alone() -> None:
    decoder = Decoder(
        [
            a_json_binding("/gas/kPa", probe="p", series=1),
            a_json_binding("/wine", probe="t", series=2),
            a_json_binding("/0", probe="x", series=3),
        ]
    )
    readings, refusals = decoder.decode(a_sample('{"gas": {"kPa": 55.2}, "wine": "12"}', "box"))
    assert readings == [DecodedReading(1, None, 55.2, GOOD)]
    assert [(refusal.probe, refusal.reason) for refusal in refusals] == [
        ("t", "not a number"),
        ("x", "no such place in the JSON"),
    ]
    readings, refusals = decoder.decode(a_sample('{"gas": ', "box"))
    assert readings == []
    assert [(refusal.probe, refusal.reason) for refusal in refusals] == [(name, "not JSON") for name in ("p", "t", "x")]


def test_an_own_time_goes_along_even_if_retained() -> None:
    binding = a_json_binding("/p", time_pointer="/at")
    payload = '{"p": 1, "at": "2026-11-25T19:30:00+01:00"}'
    assert _decoded(binding, payload) == DecodedReading(1, NOW, 1.0, GOOD)
    assert _decoded(binding, payload, retained=True).own_ms == NOW
    refused = _refused(a_json_binding("/p"), payload, retained=True)
    assert refused.reason == "retained without a time of its own"


@pytest.mark.parametrize(
    ("own_ms", "reason"),
    [
        (NOW + MOST_AHEAD_MS, ""),
        (NOW + MOST_AHEAD_MS + 1, "its own time is in the future"),
        (EARLIEST_MS, ""),
        (EARLIEST_MS - 1, "its own time is before the year 2000"),
    ],
)
def test_an_own_time_that_cannot_be_is_refused(own_ms: int, reason: str) -> None:
    binding = a_json_binding("/p", time_pointer="/at")
    payload = json.dumps({"p": 1, "at": own_ms})
    if reason:
        assert _refused(binding, payload).reason == reason
    else:
        assert _decoded(binding, payload).own_ms == own_ms


@pytest.mark.parametrize(("ahead_ms", "quality"), [(AHEAD_MS, GOOD), (AHEAD_MS + 1, CLOCK)])
def test_an_own_time_that_is_minutes_ahead_makes_the_reading_uncertain(ahead_ms: int, quality: int) -> None:
    binding = a_json_binding("/p", time_pointer="/at")
    payload = json.dumps({"p": 1, "at": NOW + ahead_ms})
    assert _decoded(binding, payload).quality == quality
    out_of_range = json.dumps({"p": 1e6, "at": NOW + ahead_ms})
    assert _decoded(binding, out_of_range).quality == quality_code(Quality.BAD, Reason.OUT_OF_RANGE)
    decoder = Decoder([binding])
    decoder.believe_clock(False)
    assert decoder.decode(a_sample(payload, binding.address)).readings[0].quality == GOOD


def test_a_time_that_is_missing_or_none_is_refused() -> None:
    binding = a_json_binding("/p", time_pointer="/at")
    assert _refused(binding, '{"p": 1}').reason == "no such place in the JSON"
    assert _refused(binding, '{"p": 1, "at": "yesterday"}').reason == "not a time"


# ---- lines ---------------------------------------------------------------------------------------------------------


def test_a_line_goes_to_the_probe_whose_pattern_is_the_whole_of_it() -> None:
    decoder = Decoder(
        [
            _line(r"K1 T=(?P<value>[-+0-9.]+)", probe="k1-t", series=1),
            _line(r"K2 T=(?P<value>[-+0-9.]+)", probe="k2-t", series=2),
        ]
    )

    def decode(text: str) -> Decoded:
        return decoder.decode(a_sample(text, "bench", source="bench"))

    assert decode("K2 T=12.5") == Decoded([DecodedReading(2, None, 12.5, GOOD)], [])
    assert decode("K1 T=-.-") == Decoded([], [Refusal("k1-t", "not a number", "K1 T=-.-")])
    for noise in ("", "xK1 T=12.5", "K1 T=12.5 K2 T=13", "K3 T=1", "K1 T=12.5\n"):
        found = noise.replace("\n", "\\x0a")
        assert decode(noise) == Decoded([], [Refusal("", "no probe's pattern takes this line", found)])


def test_one_line_may_hold_the_numbers_of_several_probes() -> None:
    decoder = Decoder(
        [
            _line(r"(?P<value>[^;]*);[^;]*", probe="p", series=1, decimal=","),
            _line(r"[^;]*;(?P<value>[^;]*)", probe="t", series=2, decimal=","),
        ]
    )
    readings, refusals = decoder.decode(a_sample("55,2;12,5", "bench", source="bench"))
    assert [(reading.series, reading.number) for reading in readings] == [(1, 55.2), (2, 12.5)]
    assert refusals == []
    readings, refusals = decoder.decode(a_sample("55,2;---", "bench", source="bench"))
    assert [reading.series for reading in readings] == [1]
    assert [refusal.probe for refusal in refusals] == ["t"]


def test_a_group_that_took_no_part_is_no_number() -> None:
    assert _refused(_line(r"T(?P<value>\d+)?"), "T").reason == "empty"


def test_a_line_is_read_in_its_encoding() -> None:
    binding = _line("(?P<value>[0-9.]+) °C", encoding="latin-1")
    assert _decoded(binding, b"12.5 \xb0C").number == 12.5
    refusal = _refused(_line("(?P<value>[0-9.]+) °C"), b"12.5 \xb0C")
    assert refusal == Refusal("", "not text in the line's encoding", "12.5 \\xb0C")


# ---- whatever the wire carries -------------------------------------------------------------------------------------

_ALL = Decoder(
    [
        a_binding(),
        a_json_binding("/p", time_pointer="/at", probe="j", series=2),
        a_json_binding("", probe="whole", series=3),
        _line("(?P<value>.*)", probe="l", series=4),
    ]
)
_PAYLOADS = st.one_of(
    st.binary(max_size=80),
    st.text(max_size=40).map(str.encode),
    st.floats().map(lambda number: str(number).encode()),
    st.recursive(st.none() | st.booleans() | st.floats() | st.text(max_size=5), st.lists, max_leaves=5).map(
        lambda value: json.dumps({"p": value, "at": value}).encode()
    ),
)


@given(_PAYLOADS, st.sampled_from([("mqtt", "k1/p"), ("mqtt", "box"), ("bench", "bench"), ("x", "y")]), st.booleans())
def test_any_payload_gives_a_reading_or_a_reason_and_never_an_error(
    payload: bytes, where: tuple[str, str], retained: bool
) -> None:
    source, address = where
    readings, refusals = _ALL.decode(a_sample(payload, address, source=source, retained=retained))
    assert len(readings) + len(refusals) == (2 if address == "box" else 1)
    for reading in readings:
        assert reading.number - reading.number == 0  # finite
    for refusal in refusals:
        assert refusal.reason
        assert refusal.found.isprintable()
