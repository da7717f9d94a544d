"""SenML packs and one-wire files on their way from a sample to readings."""

from __future__ import annotations

import json
from typing import Any

import pytest
from cellar_text import KEG, MQTT, SITE, cellar, probe, table, temperature
from hypothesis import given
from hypothesis import strategies as st
from samples import NOW, a_binding, a_sample

from ingest.cellar import Dimension
from ingest.probes.binding import bindings
from ingest.probes.decode import MOST_AHEAD_MS, RETAINED, Binding, Decoded, DecodedReading, Decoder, Refusal
from ingest.reading import Quality, Reason, quality_code

GOOD = quality_code(Quality.GOOD)
OUT_OF_RANGE = quality_code(Quality.BAD, Reason.OUT_OF_RANGE)
UNSETTLED = quality_code(Quality.UNCERTAIN, Reason.UNSETTLED)
CHIP = "28-3c01f0964f2b"

PROBES = "".join(
    (
        probe(topic="box", payload="senml", name="k1/gas", unit=None),
        temperature(topic="box", payload="senml", unit="degF"),
        probe("k1-ph", quantity="pH", topic="acid", payload="senml", unit=None),
    )
)


def a_record_binding(**changes: Any) -> Binding:
    settings: dict[str, Any] = {"address": "box", "form": "senml", "name": "k1/gas", "dimension": Dimension.PRESSURE}
    return a_binding(**{**settings, "unit": "kPa", "unit_declared": False, **changes})


GAS = a_record_binding()
WINE = a_record_binding(
    probe="k1-temperature", series=2, name="k1/wine", dimension=Dimension.TEMPERATURE, unit="degC", low=-30.0, high=60.0
)


def decode(*records: object, bound: tuple[Binding, ...] = (GAS, WINE), **changes: Any) -> Decoded:
    return Decoder(bound).decode(a_sample(json.dumps(records), "box", **changes))


# ---- SenML ---------------------------------------------------------------------------------------------------------


def test_each_probe_takes_the_records_of_its_name() -> None:
    assert decode(
        {"bn": "k1/", "bt": NOW / 1000, "n": "gas", "u": "Pa", "v": 55_200},
        {"n": "wine", "u": "Cel", "v": 12.5},
        {"n": "gas", "u": "Pa", "t": -60, "v": 55_100},
    ) == Decoded(
        [
            DecodedReading(1, NOW - 60_000, 55.1, GOOD),
            DecodedReading(1, NOW, 55.2, GOOD),
            DecodedReading(2, NOW, 12.5, GOOD),
        ],
        [],
    )


def test_a_name_is_compared_as_it_is() -> None:
    record = {"u": "Pa", "v": 55_200}
    assert decode({"n": "K1/gas", **record}, bound=(GAS,)) == Decoded(
        [], [Refusal("k1-pressure", "no record of its name", "K1/gas")]
    )
    assert decode({"bn": "k1", "n": "/gas", **record}, bound=(GAS,)).refusals == []


def test_a_pack_need_not_hold_a_record_for_each_probe() -> None:
    gas = {"n": "k1/gas", "u": "Pa", "v": 55_200}
    assert decode(gas) == Decoded([DecodedReading(1, None, 55.2, GOOD)], [])
    # But where there are records that nobody takes, one of them may be meant for the probe that has none.
    readings, refusals = decode(gas, {"n": "k1/wein", "u": "Cel", "v": 12}, {"n": "battery", "u": "V", "v": 3.3})
    assert [reading.series for reading in readings] == [1]
    assert refusals == [Refusal("k1-temperature", "no record of its name", "k1/wein battery")]
    assert decode({"n": "battery", "u": "V", "v": 3.3}, gas, bound=(GAS,)).refusals == []


def test_a_pack_without_a_measurement_is_nobodys() -> None:
    assert decode({"bn": "k1/"}) == Decoded([], [Refusal("", "a pack without a measurement", '[{"bn": "k1/"}]')])


def test_one_probes_record_fails_alone_and_a_bad_pack_fails_for_all() -> None:
    readings, refusals = decode({"n": "k1/gas", "u": "Pa", "s": 5}, {"n": "k1/wine", "u": "Cel", "v": 12})
    assert [reading.series for reading in readings] == [2]
    assert refusals == [Refusal("k1-pressure", "a sum without a value", "k1/gas")]
    assert decode({"n": "k1/gas", "u": "Pa", "v": 5}, {"n": "k1/wine"}) == Decoded(
        [],
        [
            Refusal(probe, "not SenML", "record 2: neither a value nor a sum")
            for probe in ("k1-pressure", "k1-temperature")
        ],
    )
    assert [refusal.reason for refusal in Decoder([GAS]).decode(a_sample("[", "box")).refusals] == ["not JSON"]


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        ({"u": "Cel", "v": 12}, "unit does not fit"),
        ({"u": "psi", "v": 8}, "unknown unit"),
        ({"v": 8}, "no unit"),
        ({"u": "Pa", "vs": "8"}, "not a number"),
    ],
)
def test_a_record_that_gives_no_number_is_refused_with_its_reason(record: dict[str, object], reason: str) -> None:
    (refusal,) = decode({"n": "k1/gas", **record}, bound=(GAS,)).refusals
    assert (refusal.probe, refusal.reason) == ("k1-pressure", reason)
    assert refusal.found.startswith("k1/gas")


def test_the_plausible_range_is_that_of_the_converted_number() -> None:
    (reading,) = decode({"n": "k1/gas", "u": "Pa", "v": 1_000_001}, bound=(GAS,)).readings
    assert reading.quality == OUT_OF_RANGE
    (reading,) = decode({"n": "k1/gas", "u": "Pa", "v": 1_000_000}, bound=(GAS,)).readings
    assert reading.quality == GOOD


@pytest.mark.parametrize(
    ("t", "reason"),
    [
        ((NOW + MOST_AHEAD_MS) / 1000, ""),
        ((NOW + MOST_AHEAD_MS) / 1000 + 1, "its own time is in the future"),
        (MOST_AHEAD_MS / 1000 + 1, "its own time is in the future"),
        (268_435_456, "its own time is before the year 2000"),
    ],
)
def test_times_that_cannot_be(t: float, reason: str) -> None:
    decoded = decode({"n": "k1/gas", "u": "Pa", "v": 5, "t": t}, bound=(GAS,))
    assert [refusal.reason for refusal in decoded.refusals] == ([reason] if reason else [])


def test_a_retained_pack_counts_only_with_a_time_of_its_own() -> None:
    record = {"n": "k1/gas", "u": "Pa", "v": 5}
    for times in ({}, {"t": -5}):
        assert [refusal.reason for refusal in decode({**record, **times}, bound=(GAS,), retained=True).refusals] == [
            RETAINED
        ]
    assert decode({**record, "t": NOW / 1000}, bound=(GAS,), retained=True).readings == [
        DecodedReading(1, NOW, 0.005, GOOD)
    ]


def test_a_time_counted_from_the_arrival_is_marked() -> None:
    record = {"n": "k1/gas", "u": "Pa", "v": 5}
    assert decode({**record, "t": -5}, bound=(GAS,)).readings == [
        DecodedReading(1, NOW - 5000, 0.005, GOOD, relative=True)
    ]


def test_what_the_cellar_file_says_of_records() -> None:
    found = bindings(cellar(SITE, MQTT, KEG, PROBES), {"k1-pressure": 1, "k1-temperature": 2, "k1-ph": 3})
    assert [(each.form, each.name, each.dimension, each.unit, each.unit_declared) for each in found] == [
        ("senml", "k1/gas", Dimension.PRESSURE, "kPa", False),
        ("senml", "k1-temperature", Dimension.TEMPERATURE, "degF", True),
        ("senml", "k1-ph", Dimension.PH, "pH", True),
    ]
    decoder = Decoder(found)
    box = [{"n": "k1/gas", "u": "Pa", "v": 55_200}, {"n": "k1-temperature", "u": "Cel", "v": 12.5}]
    gas, wine = decoder.decode(a_sample(json.dumps(box), "box")).readings
    assert (gas.series, gas.own_ms) == (1, None)
    assert gas.number == pytest.approx(55.2)
    assert (wine.series, wine.own_ms) == (2, None)
    assert wine.number == pytest.approx(54.5)
    assert decoder.decode(a_sample('[{"n":"k1-ph","v":3.42}]', "acid")).readings == [
        DecodedReading(3, None, 3.42, GOOD)
    ]


# ---- one-wire ------------------------------------------------------------------------------------------------------

W1_PROBE = table("[[probe]]", id="k1-temperature", at="K1", quantity="temperature", w1=CHIP)


@pytest.fixture
def chip() -> Decoder:
    return Decoder(bindings(cellar(SITE, KEG, W1_PROBE), {"k1-temperature": 7}))


def told(chip: Decoder, text: str) -> Decoded:
    return chip.decode(a_sample(text, CHIP, source="w1"))


def test_a_chip_is_read_in_degrees(chip: Decoder) -> None:
    text = "c8 00 4b 46 7f ff 08 10 {0} : crc={0} YES\nc8 00 4b 46 7f ff 08 10 {0} t=12500\n"
    assert told(chip, text.format("9f")) == Decoded(
        [], [Refusal("k1-temperature", "CRC", text.format("9f")[:60].replace("\n", "\\x0a") + "...")]
    )
    assert told(chip, "12500\n") == Decoded([DecodedReading(7, None, 12.5, GOOD)], [])
    assert told(chip, "70000\n").readings[0].quality == OUT_OF_RANGE


def test_the_power_on_value_is_uncertain(chip: Decoder) -> None:
    qualities = [told(chip, f"{text}\n").readings[0].quality for text in (85000, 12500, 85000, 85000, 12500, 84000)]
    assert qualities == [UNSETTLED, GOOD, UNSETTLED, UNSETTLED, GOOD, OUT_OF_RANGE]
    # A chip that is really that hot: no doubt that it was measured, but no wine is so warm.
    assert told(chip, "85000\n").readings[0].quality == OUT_OF_RANGE


def test_no_chip_is_refused_and_is_no_temperature_to_compare_with(chip: Decoder) -> None:
    assert told(chip, "-127000\n").refusals == [Refusal("k1-temperature", "no chip (-127 °C)", "-127000\\x0a")]
    assert told(chip, "85000\n").readings[0].quality == UNSETTLED


@given(st.one_of(st.binary(max_size=80), st.integers().map(lambda number: b"%d\n" % number)))
def test_any_text_of_a_chip_gives_a_reading_or_a_reason(text: bytes) -> None:
    decoder = Decoder(bindings(cellar(SITE, KEG, W1_PROBE), {"k1-temperature": 7}))
    readings, refusals = decoder.decode(a_sample(text, CHIP, source="w1"))
    assert len(readings) + len(refusals) == 1
    assert all(refusal.reason and refusal.found.isprintable() for refusal in refusals)


_RECORDS = st.fixed_dictionaries(
    {},
    optional={
        "n": st.sampled_from(["k1/gas", "k1/wine", "x", ""]),
        "u": st.sampled_from(["Pa", "Cel", "C", "psi", "%RH", "é\x00"]),
        "v": st.floats(allow_nan=False, allow_infinity=False),
        "s": st.integers(),
        "t": st.floats(-1e12, 1e12),
        "bver": st.sampled_from([5, 10, 26, 27]),
        "vs": st.text(max_size=3),
    },
)


@given(st.lists(_RECORDS, max_size=4), st.booleans())
def test_any_pack_gives_a_reading_or_a_reason(records: list[dict[str, object]], retained: bool) -> None:
    readings, refusals = decode(*records, retained=retained)
    assert readings or refusals
    assert all(reading.number - reading.number == 0 for reading in readings)
    assert all(refusal.reason and refusal.found.isprintable() for refusal in refusals)
